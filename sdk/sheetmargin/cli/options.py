"""Options that describe a job: one for each plain field of a sheet, the line, the air, the controller and the targets.

The option is the field's name of the contract. What is missing here (layers, corrugated board, custom materials,
several sheets) is written in a job file.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any, TypeVar

from sheetmargin.cli.fields import plain_fields, whole
from sheetmargin.cli.names import option_of
from sheetmargin.contract.fields import field_texts
from sheetmargin.contract.job import Controller, Environment, Job, Line, Sheet, Surface, Targets

T = TypeVar("T")

GROUPS: Mapping[str, type[Any]] = {
    "the sheet": Sheet,
    "its surface": Surface,
    "the line": Line,
    "the air": Environment,
    "the controller": Controller,
}
WISHES = ("limit", "classes", "principles")


def add_parts(parser: argparse.ArgumentParser, *, leave_out: Sequence[type[Any]] = ()) -> None:
    """An option for each plain field of a job's parts, with the contract's text as its help; targets and reference."""
    for title, kind in GROUPS.items():
        if kind in leave_out:
            continue
        group, texts = parser.add_argument_group(title), field_texts(kind)
        units = {each.name: each.metadata.get("unit") for each in fields(kind)}
        for name, read in plain_fields(kind).items():
            text = texts[name] + (f" In {units[name]}." if units[name] else "")
            how: dict[str, Any] = {"type": read, "metavar": "TEXT" if read is str else "N"}
            if read is bool:
                how = {"action": argparse.BooleanOptionalAction}
            group.add_argument(option_of(name), help=text.replace("%", "%%"), default=None, **how)
    group, texts = parser.add_argument_group("targets, per million"), field_texts(Targets)
    for name, read in plain_fields(Targets).items():
        option = f"--target-{name.replace('_', '-')}"
        group.add_argument(option, type=read, metavar="N", help=texts[name].replace("%", "%%"))
    parser.add_argument("--reference", metavar="TEXT", help="your reference, told in the answer")


def add_wishes(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the answer")
    group.add_argument("--limit", type=whole, metavar="N", help="most recommendations in the answer")
    group.add_argument("--classes", nargs="+", metavar="ID", help="consider only these detector classes")
    group.add_argument("--principles", nargs="+", metavar="ID", help="consider only these sensing principles")


def given_options(arguments: argparse.Namespace) -> list[str]:
    """The job options on the command line, as they are written there."""
    names = [name for kind in GROUPS.values() for name in plain_fields(kind)] + [*WISHES, "reference"]
    targets = [f"target_{name}" for name in plain_fields(Targets)]
    return [option_of(name) for name in [*names, *targets] if getattr(arguments, name, None) is not None]


def given(arguments: argparse.Namespace, kind: type[T], **more: Any) -> T:
    """A part of a job as the options describe it."""
    told = {name: getattr(arguments, name) for name in plain_fields(kind)}
    return kind(**{name: value for name, value in told.items() if value is not None}, **more)


def sheet_from(arguments: argparse.Namespace) -> Sheet:
    return given(arguments, Sheet, surface=given(arguments, Surface))


def targets_from(arguments: argparse.Namespace) -> Targets:
    """Those of the options, the others from the settings file."""
    options = {name: getattr(arguments, f"target_{name}") for name in plain_fields(Targets)}
    told = {**arguments.settings.targets, **{name: ppm for name, ppm in options.items() if ppm is not None}}
    return Targets(**told)


def wishes_from(arguments: argparse.Namespace) -> dict[str, Any]:
    return {name: value for name in WISHES if (value := getattr(arguments, name, None)) is not None}


def circumstances_from(arguments: argparse.Namespace) -> dict[str, Any]:
    """What a job has beside its sheets."""
    return {
        "line": given(arguments, Line),
        "environment": given(arguments, Environment),
        "controller": given(arguments, Controller),
        "targets": targets_from(arguments),
        "reference": arguments.reference,
        "catalogue": arguments.catalogue_name,
        **wishes_from(arguments),
    }


def job_from(arguments: argparse.Namespace) -> Job:
    return Job(sheets=[sheet_from(arguments)], **circumstances_from(arguments))
