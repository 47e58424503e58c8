"""Options of `recommend` that describe the job: one for each plain field of a sheet, the line and the air.

The option is the field's name of the contract, so that an error's pointer finds its option. What is missing here
(layers, corrugated board, custom materials, several sheets, targets) is written in a job file.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import NoneType
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from sheetmargin.contract.fields import field_texts
from sheetmargin.contract.job import Controller, Environment, Job, Line, Sheet, Surface
from sheetmargin.contract.problem import Fault

T = TypeVar("T")


def number(text: str) -> float:
    """A finite number, for argparse."""
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def positive(text: str) -> float:
    """A finite number above 0, for argparse."""
    value = number(text)
    if value <= 0:
        raise ValueError(text)
    return value


def plain_fields(kind: type[Any]) -> Mapping[str, Callable[[str], Any]]:
    """The fields of a part of a job that hold one value, and how its text is read."""
    readers: Mapping[Any, Callable[[str], Any]] = {str: str, float: number, int: int, bool: bool}
    found = {}
    for name, hint in get_type_hints(kind).items():
        (some,) = [each for each in get_args(hint) if each is not NoneType] if NoneType in get_args(hint) else [hint]
        reader = str if get_origin(some) is Literal else readers.get(some)
        if reader is not None:
            found[name] = reader
    return found


GROUPS: Mapping[str, type[Any]] = {
    "the sheet": Sheet,
    "its surface": Surface,
    "the line": Line,
    "the air": Environment,
    "the controller": Controller,
}


def option_of(field: str) -> str:
    return "--" + field.replace("_", "-")


def add_parts(parser: argparse.ArgumentParser, *, leave_out: Sequence[type[Any]] = ()) -> None:
    """An option for each plain field of a job's parts, with the contract's text as its help."""
    for title, kind in GROUPS.items():
        if kind in leave_out:
            continue
        group, texts = parser.add_argument_group(title), field_texts(kind)
        for name, read in plain_fields(kind).items():
            how: dict[str, Any] = {"type": read, "metavar": "TEXT" if read is str else "N"}
            if read is bool:
                how = {"action": argparse.BooleanOptionalAction}
            group.add_argument(option_of(name), help=texts[name].replace("%", "%%"), default=None, **how)


def add_job_options(parser: argparse.ArgumentParser) -> None:
    add_parts(parser, leave_out=[Controller])
    group = parser.add_argument_group("the answer")
    group.add_argument("--limit", type=int, metavar="N", help="most recommendations in the answer")
    group.add_argument("--classes", nargs="+", metavar="ID", help="admit only these detector classes")


def given_options(arguments: argparse.Namespace) -> list[str]:
    """The job options on the command line, as they are written there."""
    names = [name for kind in GROUPS.values() for name in plain_fields(kind)] + ["limit", "classes"]
    return [option_of(name) for name in names if getattr(arguments, name, None) is not None]


def named_by_option(fault: Fault) -> Fault:
    """The fault with its pointer, `/sheets/0/grammage_gsm` say, replaced by the option that fills the place."""
    field = (fault.pointer or "").rpartition("/")[2]
    known = field == "limit" or any(field in plain_fields(kind) for kind in GROUPS.values())
    return replace(fault, pointer=option_of(field)) if known else fault


def given(arguments: argparse.Namespace, kind: type[T], **more: Any) -> T:
    """A part of a job as the options describe it."""
    told = {name: getattr(arguments, name) for name in plain_fields(kind)}
    return kind(**{name: value for name, value in told.items() if value is not None}, **more)


def sheet_from(arguments: argparse.Namespace) -> Sheet:
    return given(arguments, Sheet, surface=given(arguments, Surface))


def job_from(arguments: argparse.Namespace) -> Job:
    return Job(
        sheets=[sheet_from(arguments)],
        line=given(arguments, Line),
        environment=given(arguments, Environment),
        **{name: value for name in ("classes", "limit") if (value := getattr(arguments, name)) is not None},
    )
