"""What inputs are called on the command line: the option of each JSON pointer, in one table."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from sheetmargin.cli.fields import plain_fields
from sheetmargin.contract.job import Controller, Environment, Line, Sheet, Surface, Targets
from sheetmargin.contract.problem import Fault
from sheetmargin.contract.trials import Trial
from sheetmargin.report.view import field_of


def option_of(field: str) -> str:
    return "--" + field.replace("_", "-")


@cache
def option_table() -> Mapping[str, str]:
    """The option that fills each place of a job or of a question about a set-up."""
    parts: Mapping[str, type[Any]] = {
        "/sheets/0": Sheet,
        "/sheets/0/trials": Trial,
        "/sheet": Sheet,
        "/sheets/0/surface": Surface,
        "/sheet/surface": Surface,
        "/line": Line,
        "/environment": Environment,
        "/controller": Controller,
    }
    table = {f"{place}/{name}": option_of(name) for place, kind in parts.items() for name in plain_fields(kind)}
    table |= {f"/targets/{name}": f"--target-{name.replace('_', '-')}" for name in plain_fields(Targets)}
    for name in ("reference", "catalogue", "limit", "classes", "principles", "symptoms", "readings"):
        table[f"/{name}"] = option_of(name)
    return table | {
        "/between": "CLASS",
        "/setup/detector_class": "--detector-class",
        "/setup/gap_mm": "--gap-mm",
        "/setup/tilt_deg": "--tilt-deg",
        "/setup/profile/band": "--band",
        "/sheets/0/trials/band": "--band",
        "/setup/profile/hold_ms": "--hold-ms",
        "/grid/gap_mm": "--gaps",
        "/grid/tilt_deg": "--tilts",
        "/grid/position_mm": "--positions",
        "/grid/grammage_gsm": "--grammages",
    }


def named_input(pointer: str) -> str:
    """The option for a place, also for a member of a list there; the field's name where there is none."""
    place = re.sub(r"(/trials)/\d+|(/band)/\w+$", r"\1\2", pointer)
    while place and place not in option_table():
        head, _, last = place.rpartition("/")
        place = head if last.isdigit() else ""
    return option_table()[place] if place else field_of(pointer)


def named_by_option(fault: Fault) -> Fault:
    """The fault with its pointer replaced by the option that fills the place; without one where none does."""
    if not (fault.pointer or "").startswith("/"):
        return fault
    name = named_input(fault.pointer or "")
    return replace(fault, pointer=name if name in option_table().values() else None)
