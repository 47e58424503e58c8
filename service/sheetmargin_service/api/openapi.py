"""The published description. `python -m sheetmargin_service.api.openapi [--check] [FILE]` writes or checks it."""

from __future__ import annotations

import argparse
import difflib
import json
import sys
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

from flask import Flask, current_app

from sheetmargin_service.api.examples import with_examples
from sheetmargin_service.api.service import Service
from sheetmargin_service.config import Settings

EXTENSION = "sheetmargin-openapi"


def publish(app: Flask, document: Mapping[str, Any], service: Service) -> None:
    """Make the description, its examples computed when it is first asked for, the application's own."""
    app.extensions[EXTENSION] = cache(lambda: with_examples(document, service))


def description() -> dict[str, Any]:
    """The description of the current application."""
    document: dict[str, Any] = current_app.extensions[EXTENSION]()
    return document


def written() -> str:
    """The description as it is committed: of a service with the reference catalogue and nothing set."""
    # The application stands above this layer and is found as a client in this process finds it: by its entry point.
    (entry,) = entry_points(group="sheetmargin.in_process", name="service")
    app: Flask = entry.load()(Settings())
    with app.app_context():
        return json.dumps(description(), indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the file, or with --check print the difference and return 1 where there is one."""
    parser = argparse.ArgumentParser(prog="sheetmargin_service.api.openapi", description=__doc__)
    parser.add_argument("file", nargs="?", type=Path, default=Path("openapi/openapi.json"))
    parser.add_argument("--check", action="store_true", help="change nothing; fail where the file differs")
    options = parser.parse_args(arguments)
    now = written()
    if not options.check:
        options.file.write_text(now, encoding="utf-8")
        return 0
    committed = options.file.read_text(encoding="utf-8") if options.file.is_file() else ""
    difference = difflib.unified_diff(committed.splitlines(), now.splitlines(), str(options.file), "now", lineterm="")
    lines = list(difference)
    if lines:
        print("\n".join(lines[:200]), file=sys.stderr)
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
