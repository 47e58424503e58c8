"""What is assumed where a job is silent, each reported in the answer."""

from __future__ import annotations

from sheetmargin_service.acoustics.air import saturation_pressure_pa
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.selection.answer import Note
from sheetmargin_service.selection.job import Environment, Job, Line

# pointer: (value, why). Typical, from memory, unless a standard is named.
DEFAULTS: dict[str, tuple[float, str]] = {
    "/line/flutter_mm": (1.0, "typical, from memory"),
    "/line/flutter_deg": (1.0, "typical, from memory"),
    "/line/max_tilt_deg": (45.0, "the greatest tilt that is searched"),
    "/environment/temperature_min_c": (15.0, "typical, from memory"),
    "/environment/temperature_max_c": (35.0, "typical, from memory"),
    "/environment/relative_humidity_min_pct": (30.0, "typical, from memory"),
    "/environment/relative_humidity_max_pct": (70.0, "typical, from memory"),
    "/environment/pressure_kpa": (101.325, "ISO 2533 standard atmosphere at sea level"),
}

WARMEST_HALL_C = DEFAULTS["/environment/temperature_max_c"][0]
"""Air that a machine heats beyond this is the hall's: it keeps its water, and its relative humidity falls."""


def _given(job: Job, pointer: str) -> float | None:
    owner: Line | Environment = job.line if pointer.startswith("/line/") else job.environment
    value: float | None = getattr(owner, pointer.rsplit("/", 1)[1])
    return value


def conditions_of(job: Job) -> tuple[Conditions, tuple[Note, ...]]:
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
            notes.append(Note(code="default", pointer=pointer, value=value, values={"value": value}, source=source))
        values[name] = value
    line = job.line
    conditions = Conditions(
        **values,
        clearance_above_mm=line.clearance_above_mm,
        clearance_below_mm=line.clearance_below_mm,
        body_through_frame=line.body_through_frame,
        bed=line.bed,
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
