"""`sheetmargin completion bash|zsh|tcsh`: a script that completes commands and options in that shell (extra
completion)."""

from __future__ import annotations

import argparse
from importlib import import_module

from sheetmargin.cli.output import print_text
from sheetmargin.errors import ExtraNotInstalled

SHELLS = ("bash", "zsh", "tcsh")


def add_completion_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=SHELLS)


def completion(arguments: argparse.Namespace) -> int:
    try:
        shtab = import_module("shtab")
    except ModuleNotFoundError as error:
        raise ExtraNotInstalled.missing("shtab", extra="completion") from error
    print_text(shtab.complete(arguments.whole_parser, shell=arguments.shell).rstrip("\n"))
    return 0
