"""The fields of a job that the cells of a column can fill.

A field that only one part of a job has is named by itself (`grammage_gsm`, `flutter_mm`); any field by its path
(`line.flutter_mm`, `sheet_gauge.number`, `require.ingress`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from sheetmargin.contract.job import Controller, Environment, Job, Line, Prefer, Require, Sheet, Targets

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
    """Where a column's cells go in a job, what they hold (`float`, `int`, `bool`, `str` or `list`) and in what unit."""

    path: tuple[str, ...]
    kind: type
    unit: str


@cache
def columns() -> Mapping[str, Column]:
    """Every name that a column may have."""
    found: dict[str, Column] = {}
    for part, kind in PARTS.items():
        for path, hint, unit in _fields(kind):
            column = Column(path=((part,) if part else ()) + path, kind=hint, unit=unit)
            if part and len(path) == 1:
                found.setdefault(path[0], column)
            found.setdefault(".".join((part, *path) if part not in ("", "sheet") else path), column)
    return found


def _fields(kind: type[Any]) -> Iterator[tuple[tuple[str, ...], type, str]]:
    """Paths of the fields that a cell can fill, what they hold, and their units."""
    hints = get_type_hints(kind)
    for field in fields(kind):
        hint, unit = hints[field.name], field.metadata.get("unit", "")
        if get_origin(hint) in (Union, UnionType):
            hint = next(option for option in get_args(hint) if option is not type(None))
        hint = str if get_origin(hint) is Literal else hint
        if hint in (int, float, bool, str):
            yield (field.name,), hint, unit
        elif get_origin(hint) is Sequence and get_args(hint) == (str,):
            yield (field.name,), list, ""
        elif isinstance(hint, type) and is_dataclass(hint) and kind is not Job:
            for path, inner, inner_unit in _fields(hint):
                yield (field.name, *path), inner, inner_unit
