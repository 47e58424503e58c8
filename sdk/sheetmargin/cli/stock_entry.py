"""A fitted sheet as an entry of a stock file, with what it was measured from, when, and how well it is known."""

from __future__ import annotations

import argparse
import json
import os
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from sheetmargin.contract.measure import Fit
from sheetmargin.encode import question_to_json
from sheetmargin.errors import InvalidJob


def add_stock_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--into", type=Path, metavar="FILE.toml", help="write the fitted sheet into this stock")
    parser.add_argument("--as", dest="as_article", metavar="ARTICLE", help="article number of the fitted sheet there")


def check_entry(arguments: argparse.Namespace) -> None:
    """Raise InvalidJob, before anything is computed, where there is no room for the entry."""
    path: Path | None = arguments.into
    if path is None and arguments.as_article is None:
        return
    if path is None or not arguments.as_article:
        raise InvalidJob("Give both the stock and the article number: --into FILE.toml --as ARTICLE.")
    if path.suffix != ".toml":
        raise InvalidJob(f"{path}: expected a stock in TOML.")
    try:
        held = tomllib.loads(path.read_text(encoding="utf-8")).get("sheet", []) if path.exists() else []
    except (OSError, ValueError) as error:
        raise InvalidJob(f"{path} cannot be read: {error}") from error
    if any(entry.get("article") == arguments.as_article for entry in held):
        raise InvalidJob(f"{path} has the article {arguments.as_article} already: take it out, or give another number.")


def write_entry(found: Fit, arguments: argparse.Namespace, *, readings: int) -> None:
    """Append the entry. Whoever reads the file sees the old one or the whole new one."""
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
    lines = ["[[sheet]]", *(f"{name} = {_toml(value)}" for name, value in entry.items())]
    new = path.with_name(f".{path.name}.new")
    try:
        old = path.read_text(encoding="utf-8").rstrip("\n") + "\n\n" if path.exists() else ""
        new.write_text(old + "\n".join(lines) + "\n", encoding="utf-8")
        os.replace(new, path)
    except OSError as error:
        raise InvalidJob(f"{path} cannot be written: {error.strerror or error}.") from error


def _toml(value: Any) -> str:
    """A value of JSON as TOML. Texts are written alike in both."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_toml(member)}" for name, member in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)
