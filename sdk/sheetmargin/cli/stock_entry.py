"""What the bench and trials showed of a sheet, in a stock file: with its date, and as the service reads it."""

from __future__ import annotations

import argparse
import json
import os
import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from sheetmargin.contract.measure import Fit
from sheetmargin.contract.trials import Trial
from sheetmargin.encode import question_to_json
from sheetmargin.errors import InvalidJob

REMARKS = ("article", "measured", "source")
"""What an entry says beside the sheet."""


def add_stock_options(parser: argparse.ArgumentParser, *, what: str, needed: bool = False) -> None:
    parser.add_argument("--into", type=Path, metavar="FILE.toml", required=needed, help=f"write {what} into this stock")
    parser.add_argument("--as", dest="as_article", metavar="ARTICLE", required=needed, help="article number there")


def check_entry(arguments: argparse.Namespace) -> None:
    """Raise InvalidJob, before anything is computed, where there is no room for the entry."""
    path: Path | None = arguments.into
    if path is None and arguments.as_article is None:
        return
    if path is None or not arguments.as_article:
        raise InvalidJob("Give both the stock and the article number: --into FILE.toml --as ARTICLE.")
    if any(entry.get("article") == arguments.as_article for entry in _entries(path, _text(path))):
        raise InvalidJob(f"{path} has the article {arguments.as_article} already: take it out, or give another number.")


def write_entry(found: Fit, arguments: argparse.Namespace, *, readings: int) -> None:
    """Append the entry."""
    path: Path | None = arguments.into
    if path is None:
        return
    told = [
        f"{one.name} {one.fitted.nominal:.3g} ({one.fitted.low:.3g} to {one.fitted.high:.3g}, 90 %)"
        for one in found.fit.estimates
        if one.informative
    ]
    measured = f"{date.today().isoformat()}: {readings} readings of {Path(arguments.readings).name}; {', '.join(told)}"
    entry = {"article": arguments.as_article, "measured": measured, **json.loads(question_to_json(found.sheet))}
    old = _text(path).rstrip("\n")
    replace_file(path, old + "\n\n" * bool(old) + _table("[[sheet]]", entry))


def with_trial(path: Path, article: str, trial: Trial) -> tuple[dict[str, Any], str]:
    """The sheet of an article with one trial more, and the text of the stock with it."""
    text = _text(path)
    entries = _entries(path, text)
    numbers = [number for number, entry in enumerate(entries) if entry.get("article") == article]
    if not numbers:
        raise InvalidJob(f"{path} has no article {article}.")
    entry, told = entries[numbers[0]], json.loads(question_to_json(trial))
    entry["trials"] = [*entry.get("trials", []), told]
    # Below its own table, above what is said of the next one.
    starts = [found.start() for found in re.finditer(r"^[ \t]*(#.*\n|\s)*\[\[\s*sheet\s*\]\]", text, re.MULTILINE)]
    end = next(iter(starts[numbers[0] + 1 :]), len(text))
    new = text[:end].rstrip("\n") + "\n\n" + _table("[[sheet.trials]]", told) + text[end:]
    try:
        fits = tomllib.loads(new).get("sheet") == entries
    except tomllib.TOMLDecodeError:
        fits = False
    if not fits:
        raise InvalidJob(f"{path} is written so that a trial cannot be added: give each trial as [[sheet.trials]].")
    return {name: value for name, value in entry.items() if name not in REMARKS}, new


def replace_file(path: Path, text: str) -> None:
    """Whoever reads the file sees the old one or the whole new one."""
    new = path.with_name(f".{path.name}.new")
    try:
        new.write_text(text, encoding="utf-8")
        os.replace(new, path)
    except OSError as error:
        raise InvalidJob(f"{path} cannot be written: {error.strerror or error}.") from error


def _text(path: Path) -> str:
    if path.suffix != ".toml":
        raise InvalidJob(f"{path}: expected a stock in TOML.")
    try:
        return path.read_text(encoding="utf-8") if path.exists() else ""
    except (OSError, ValueError) as error:
        raise InvalidJob(f"{path} cannot be read: {error}") from error


def _entries(path: Path, text: str) -> list[dict[str, Any]]:
    try:
        entries: list[dict[str, Any]] = tomllib.loads(text).get("sheet", [])
    except ValueError as error:
        raise InvalidJob(f"{path} cannot be read: {error}") from error
    return entries


def _table(head: str, entry: dict[str, Any]) -> str:
    return "\n".join([head, *(f"{name} = {_toml(value)}" for name, value in entry.items())]) + "\n"


def _toml(value: Any) -> str:
    """A value of JSON as TOML. Texts are written alike in both."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_toml(member)}" for name, member in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)
