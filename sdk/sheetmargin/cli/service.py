"""Options of the service that is asked, and the client that they make."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from sheetmargin.cli.fields import positive
from sheetmargin.cli.settings import Settings
from sheetmargin.cli.speech import say
from sheetmargin.client import Client
from sheetmargin.errors import InvalidJob

TIMEOUT_S = 30.0


def add_service_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the service")
    group.add_argument("--url", help="ask the service at this address (SHEETMARGIN_URL); else the one installed here")
    group.add_argument("--token", help="bearer token; better in SHEETMARGIN_TOKEN, where no process list shows it")
    group.add_argument("--timeout", type=positive, metavar="S", help=f"seconds to wait (default {TIMEOUT_S:g})")
    group.add_argument("--language", metavar="TAG", help="language of the texts: en or de")
    group.add_argument(
        "--catalogue", metavar="FILE", help="catalogue file for the service installed here, or name of a catalogue"
    )
    group.add_argument("--stock", metavar="FILE", help="sheets by article number, for the service installed here")


def fill_from_settings(arguments: argparse.Namespace, settings: Settings) -> None:
    """What no option says, from the settings; `catalogue_name` is what a job is to name."""
    arguments.settings = settings
    for name in ("url", "catalogue", "language", "format", "timeout"):
        if getattr(arguments, name, None) is None:
            setattr(arguments, name, getattr(settings, name))
    arguments.catalogue_name = None if is_file_name(arguments.catalogue) else arguments.catalogue


def is_file_name(catalogue: str | None) -> bool:
    """Whether it is a file of classes, and not the name of a catalogue that the service has."""
    return catalogue is not None and (catalogue.endswith(".toml") or os.sep in catalogue or Path(catalogue).is_file())


def client_of(arguments: argparse.Namespace) -> Client:
    """A client of the service at the address, else of the one installed here."""
    token = arguments.token or os.environ.get("SHEETMARGIN_TOKEN")
    file = arguments.catalogue if is_file_name(arguments.catalogue) else None
    if arguments.url is None:
        return Client.in_process(catalogue=file, stock=arguments.stock, token=token, language=arguments.language)
    if arguments.stock is not None:
        raise InvalidJob(say("stock-there", file=arguments.stock))
    if file is not None:
        raise InvalidJob(say("catalogue-there", file=file))
    retries = getattr(arguments, "retries", 3)
    return Client(arguments.url, token, arguments.timeout or TIMEOUT_S, retries=retries, language=arguments.language)
