"""A row of a table as a job: the columns' names are the field names of the contract.

A field that only one part of a job has is named by itself (`grammage_gsm`, `flutter_mm`); any field by its path
(`line.flutter_mm`, `sheet_gauge.number`, `require.ingress`). A cell that does not read as its field wants it goes to
the service as it is, which says what is wrong with it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from sheetmargin.contract.job import Controller, Environment, Job, Line, Prefer, Require, Sheet, Targets
from sheetmargin.contract.problem import Fault
from sheetmargin.outcome import Outcome

PARTS: Mapping[str, type[Any]] = {
    "": Job,
    "sheet": Sheet,
    "line": Line,
    "environment": Environment,
    "controller": Controller,
    "targets": Targets,
    "require": Require,
    "prefer": Prefer,
}
"""Where a plain name is looked for, in this order: the air's temperature comes before the one that is required."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """Where a column's cells go in a job, and what they hold: `float`, `int`, `bool`, `str` or `list`."""

    path: tuple[str, ...]
    kind: type


@cache
def columns() -> Mapping[str, Column]:
    """Every name that a column may have."""
    found: dict[str, Column] = {}
    for part, kind in PARTS.items():
        for path, hint in _fields(kind):
            column = Column(path=((part,) if part else ()) + path, kind=hint)
            if part and len(path) == 1:
                found.setdefault(path[0], column)
            found.setdefault(".".join((part, *path) if part not in ("", "sheet") else path), column)
    return found


def job_of(row: Mapping[str, str], *, decimal_comma: bool = False) -> dict[str, Any]:
    """The job of a row's cells, by the names of the contract; cells of other columns and empty ones are left out.

    `decimal_comma`: numbers are written as in 0,5.
    """
    job: dict[str, Any] = {"sheet": {}}
    for name, cell in row.items():
        column = columns().get(name)
        text = cell.strip()
        if column is None or not text:
            continue
        owner = job
        for step in column.path[:-1]:
            owner = owner.setdefault(step, {})
        if decimal_comma and column.kind is float and "." not in text:
            text = text.replace(",", ".", 1)
        owner[column.path[-1]] = _read(text, column.kind)
    return {"sheets": [job.pop("sheet")], **job}


def named_by_column(outcome: Outcome, given: Iterable[str]) -> Outcome:
    """The outcome with each pointer into the job replaced by the column that fills the place, given or not."""
    if outcome.error is not None:
        outcome.error.errors = tuple(_named(fault, given) for fault in outcome.error.errors)
    return outcome


def _named(fault: Fault, given: Iterable[str]) -> Fault:
    place = re.sub(r"/\d+$", "", fault.pointer or "").replace("/sheets/0", "/sheet", 1)
    path = tuple(place.split("/")[1:])
    name = next((name for name in (*given, *columns()) if name in columns() and columns()[name].path == path), None)
    return replace(fault, pointer=name) if name else fault


def _read(text: str, kind: type) -> Any:
    if kind is list:
        return [item.strip() for item in text.replace(";", ",").split(",") if item.strip()]
    if kind is bool:
        return {"true": True, "false": False}.get(text.lower(), text)
    if kind in (int, float):
        try:
            value = float(text)
        except ValueError:
            return text
        # A spreadsheet's "n/a" may come as nan, which JSON does not have.
        return value if math.isfinite(value) else text
    return text


def _fields(kind: type[Any]) -> Iterator[tuple[tuple[str, ...], type]]:
    """Paths of the fields that a cell can fill, and what they hold."""
    hints = get_type_hints(kind)
    for field in fields(kind):
        hint = hints[field.name]
        if get_origin(hint) in (Union, UnionType):
            hint = next(option for option in get_args(hint) if option is not type(None))
        hint = str if get_origin(hint) is Literal else hint
        if hint in (int, float, bool, str):
            yield (field.name,), hint
        elif get_origin(hint) is Sequence and get_args(hint) == (str,):
            yield (field.name,), list
        elif isinstance(hint, type) and is_dataclass(hint) and kind is not Job:
            for path, inner in _fields(hint):
                yield (field.name, *path), inner
