"""`sheetmargin serve`: become a gunicorn that serves the service, with the settings that the service brings."""

from __future__ import annotations

import argparse
import os
import sys
from importlib.util import find_spec
from typing import NoReturn

from sheetmargin.errors import ServiceNotInstalled

SETTINGS = "python:sheetmargin_service.gunicorn_conf"
"""A name for gunicorn to load; the client imports nothing of the service."""


def add_serve_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default %(default)s)")
    parser.add_argument("--port", type=int, default=8080, help="port to listen on (default %(default)s)")
    parser.add_argument("--workers", type=int, metavar="N", help="processes (default: one for each core)")
    parser.add_argument("--threads", type=int, metavar="N", help="threads of each process")


def serve(arguments: argparse.Namespace) -> NoReturn:
    """Replaces this process, so that signals reach gunicorn itself. Raises ServiceNotInstalled without the extra."""
    if find_spec("gunicorn") is None:
        raise ServiceNotInstalled.missing("gunicorn")
    host = f"[{arguments.host}]" if ":" in arguments.host else arguments.host
    command = [sys.executable, "-m", "gunicorn", "--config", SETTINGS, "--bind", f"{host}:{arguments.port}"]
    for option in ("workers", "threads"):
        value = getattr(arguments, option)
        if value is not None:
            command += [f"--{option}", str(value)]
    os.execv(sys.executable, command)
