"""What is assumed where a job is silent, each reported in the answer."""

from __future__ import annotations

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


def _given(job: Job, pointer: str) -> float | None:
    owner: Line | Environment = job.line if pointer.startswith("/line/") else job.environment
    value: float | None = getattr(owner, pointer.rsplit("/", 1)[1])
    return value


def conditions_of(job: Job) -> tuple[Conditions, tuple[Note, ...]]:
    """The job's surroundings with every default filled in, and a note for each default taken.

    A lone minimum above the default maximum (or the reverse) moves the default to it.
    """
    values: dict[str, float] = {}
    notes = []
    for pointer, (default, source) in DEFAULTS.items():
        name = pointer.rsplit("/", 1)[1]
        value = _given(job, pointer)
        if value is None:
            value = _ordered(job, pointer, default)
            notes.append(Note(code="default", pointer=pointer, value=value, values={"value": value}, source=source))
        values[name] = value
    conditions = Conditions(
        **values, clearance_above_mm=job.line.clearance_above_mm, clearance_below_mm=job.line.clearance_below_mm
    )
    return conditions, tuple(notes)


def _ordered(job: Job, pointer: str, default: float) -> float:
    if "_min_" in pointer:
        partner = _given(job, pointer.replace("_min_", "_max_"))
        return default if partner is None else min(default, partner)
    if "_max_" in pointer:
        partner = _given(job, pointer.replace("_max_", "_min_"))
        return default if partner is None else max(default, partner)
    return default
