"""What is assumed where a job is silent, each reported in the answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sheetmargin.contract.job import Controller, Environment, Job, Line
from sheetmargin.contract.notes import Assumption

from sheetmargin_service.acoustics.air import saturation_pressure_pa
from sheetmargin_service.mounting.timing import Assumed
from sheetmargin_service.principles.conditions import Conditions

# pointer: (value, why). Typical, from memory, unless a standard is named.
DEFAULTS: dict[str, tuple[float, str]] = {
    "/line/flutter_mm": (1.0, "typical, from memory"),
    "/line/flutter_deg": (1.0, "typical, from memory"),
    "/line/max_tilt_deg": (70.0, "where sound grazes the sheet; a beam stays three half angles below it"),
    "/environment/temperature_min_c": (15.0, "typical, from memory"),
    "/environment/temperature_max_c": (35.0, "typical, from memory"),
    "/environment/relative_humidity_min_pct": (30.0, "typical, from memory"),
    "/environment/relative_humidity_max_pct": (70.0, "typical, from memory"),
    "/environment/pressure_kpa": (101.325, "ISO 2533 standard atmosphere at sea level"),
}

CONTROLLER = {
    "/controller/scan_ms": (10.0, "typical, from memory"),
    "/controller/input_filter_ms": (3.0, "typical, from memory"),
}
"""Taken for the rest where a part of the controller is given, or both the sheet's length and its speed are."""
SHEETS = {
    "/line/sheet_length_mm": (300.0, "typical, from memory"),
    "/line/sheet_spacing_mm": (100.0, "typical, from memory"),
}
"""Taken of sheets that come one by one where speed and controller are given: whether the one can keep up with the
other."""
WARMEST_HALL_C = DEFAULTS["/environment/temperature_max_c"][0]
"""Air that a machine heats beyond this is the hall's: it keeps its water, and its relative humidity falls."""


def _given(job: Job, pointer: str) -> float | None:
    _, part, name = pointer.split("/")
    owner: Line | Environment | Controller = getattr(job, part)
    value: float | None = getattr(owner, name)
    return value


def timed_by(job: Job) -> tuple[Assumed, tuple[Assumption, ...]]:
    """The job's line and controller as far as times ask for what it does not say, and a note for each default taken."""
    line, controller = job.line, job.controller
    speed_known = line.speed_m_per_min is not None
    given = any(_given(job, pointer) is not None for pointer in CONTROLLER)
    wanted = CONTROLLER if given or (speed_known and line.sheet_length_mm is not None) else {}
    if given and speed_known and not line.shingled:
        wanted = wanted | SHEETS
    taken = {pointer: default for pointer, default in wanted.items() if _given(job, pointer) is None}

    def of(part: str) -> dict[str, Any]:
        return {pointer.split("/")[2]: value for pointer, (value, _) in taken.items() if pointer.split("/")[1] == part}

    notes = tuple(
        Assumption(code="default", pointer=pointer, value=value, values={"value": value}, source=source)
        for pointer, (value, source) in taken.items()
    )
    return Assumed(line=replace(line, **of("line")), controller=replace(controller, **of("controller"))), notes


def conditions_of(job: Job) -> tuple[Conditions, tuple[Assumption, ...]]:
    """The job's surroundings with every default filled in, and a note for each default taken.

    A lone minimum above the default maximum (or the reverse) moves the default to it. In air warmer than a hall's the
    default humidity is that of the hall's water.
    """
    values: dict[str, float] = {}
    notes = []
    for pointer, (default, source) in DEFAULTS.items():
        name = pointer.rsplit("/", 1)[1]
        value = _given(job, pointer)
        if value is None:
            if "humidity" in pointer:
                default = _heated(default, warmest_c=values["temperature_max_c"])
            value = _ordered(job, pointer, default)
            notes.append(
                Assumption(code="default", pointer=pointer, value=value, values={"value": value}, source=source)
            )
        values[name] = value
    line = job.line
    lifts = [sheet.surface.lift_mm or 0.0 for sheet in job.sheets]
    values["flutter_mm"] = max([values["flutter_mm"], *lifts])
    conditions = Conditions(
        **values,
        clearance_above_mm=line.clearance_above_mm,
        clearance_below_mm=line.clearance_below_mm,
        body_through_frame=line.body_through_frame,
        bed=line.bed,
        dusty=line.dust,
    )
    return conditions, tuple(notes)


def _heated(humidity_pct: float, *, warmest_c: float) -> float:
    """The relative humidity of a hall's air at its own temperature or heated to another."""
    if warmest_c <= WARMEST_HALL_C:
        return humidity_pct
    share = saturation_pressure_pa(WARMEST_HALL_C) / saturation_pressure_pa(warmest_c)
    return round(share * humidity_pct, 1)


def _ordered(job: Job, pointer: str, default: float) -> float:
    if "_min_" in pointer:
        partner = _given(job, pointer.replace("_min_", "_max_"))
        return default if partner is None else min(default, partner)
    if "_max_" in pointer:
        partner = _given(job, pointer.replace("_max_", "_min_"))
        return default if partner is None else max(default, partner)
    return default
