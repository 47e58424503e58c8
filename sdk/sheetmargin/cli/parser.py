"""A parser whose faults are one line: what to do, and the nearest name to one that does not exist."""

from __future__ import annotations

import argparse
import difflib
import re
import sys
from collections.abc import Iterable, Sequence
from typing import Any, NoReturn

from sheetmargin.cli.speech import say

BAD_INPUT = 2
FAULTS = {
    "one-value": r"argument (?P<option>.+?): expected one argument",
    "some-values": r"argument (?P<option>.+?): expected (?:at least one|\d+) arguments?",
    "choice": r"argument (?P<option>.+?): invalid choice: '?(?P<text>[^' ]*)'? \(.*choose from (?P<known>.+)\)",
    "needed": r"the following arguments are required: (?P<option>.+)",
    "surplus": r"unrecognized arguments: (?P<text>.+)",
    "value": r"argument (?P<option>.+?): (?P<text>.+)",
}
"""What argparse says, by the name of the text that takes its place."""


class Parser(argparse.ArgumentParser):
    """Tells a wrong option before a missing one: the one is often the other, misspelt."""

    def __init__(self, **how: Any) -> None:
        super().__init__(**{"allow_abbrev": False, "formatter_class": argparse.RawDescriptionHelpFormatter, **how})

    def parse_known_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        given = list(sys.argv[1:] if args is None else args)
        commands = any(isinstance(action, argparse._SubParsersAction) for action in self._actions)
        for text in () if commands else given:
            if text == "--":
                break
            option = text.partition("=")[0]
            if option.startswith("--") and option not in self._option_string_actions:
                self.error(say("unknown-option", option=option) + nearest(option, self._option_string_actions))
        return super().parse_known_args(given, namespace)

    def error(self, message: str) -> NoReturn:
        for name, pattern in FAULTS.items():
            if found := re.fullmatch(pattern, message, re.S):
                message = say(f"fault.{name}", **found.groupdict())
                if name == "choice":
                    message += nearest(found["text"], re.findall(r"[\w-]+", found["known"]))
                break
        self.exit(BAD_INPUT, f"sheetmargin: {message}\n")


def nearest(wrong: str, known: Iterable[str]) -> str:
    """A sentence with the likest name; empty where none is like it."""
    found = difflib.get_close_matches(wrong, list(known), n=1, cutoff=0.6)
    return f" {say('did-you-mean', near=found[0])}" if found else ""
