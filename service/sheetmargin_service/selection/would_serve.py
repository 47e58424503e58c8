"""What of a job would have to change for a class to serve all its sheets, where none does: each change computed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import chain

from sheetmargin.contract.job import Job, Prefer, Require
from sheetmargin.contract.notes import Note, Scalar

from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.defaults import conditions_of
from sheetmargin_service.selection.ranking import Plan

ONE_TEMPERATURE_K = 1.0
"""How far air may lie from its mean that is called of one temperature (a choice)."""
AT_ONCE_MS = 0.5
"""Scan and filter of an input that interrupts the controller (typical, from memory)."""
Serves = Callable[[Job], Plan | None]
"""The first plan for a job, where it serves every sheet."""


def would_serve(job: Job, *, serves: Serves, why_not: Iterable[Fact]) -> tuple[Note, ...]:
    """The single changes of a job after which its first plan serves every sheet, with that plan's class and chance.
    `why_not`: what kept the classes from it."""
    notes = []
    for code, values, changed in chain(_changes(job), _in_time(job, why_not)):
        plan = serves(changed)
        if plan is not None:
            classes = sorted({pair.class_result.detector_class.id for pair in plan.configured_pairs})
            found: dict[str, Scalar] = {
                "detector_class": ", ".join(classes),
                "chance_pct": round(100.0 * plan.chance),
                "verdict": plan.verdict,
            }
            notes.append(Note(code=code, values={**values, **found}))
    return tuple(notes)


def _changes(job: Job) -> Iterator[tuple[str, dict[str, Scalar], Job]]:
    line, environment = job.line, job.environment
    if job.require != Require() or job.principles or job.classes or job.prefer.effort_max is not None or line.wash_down:
        free = replace(line, wash_down=None)
        yield (
            "would-serve-unfiltered",
            {},
            replace(job, require=Require(), principles=(), classes=(), prefer=Prefer(), line=free),
        )
    if line.clearance_above_mm is not None or line.clearance_below_mm is not None or line.bed is False:
        free = replace(line, clearance_above_mm=None, clearance_below_mm=None, bed=None)
        yield "would-serve-with-room", {}, replace(job, line=free)
    if line.access == "one-side":
        yield "would-serve-from-both-sides", {}, replace(job, line=replace(line, access=None))
    if environment.temperature_min_c is not None or environment.temperature_max_c is not None:
        yield (
            "would-serve-in-a-hall",
            {},
            replace(job, environment=replace(environment, temperature_min_c=None, temperature_max_c=None)),
        )
    conditions, _ = conditions_of(job)
    least, most = conditions.temperature_min_c, conditions.temperature_max_c
    if most - least > 2.0 * ONE_TEMPERATURE_K:
        middle = 0.5 * (least + most)
        steady: dict[str, float] = {
            "temperature_min_c": middle - ONE_TEMPERATURE_K,
            "temperature_max_c": middle + ONE_TEMPERATURE_K,
        }
        clean = replace(line, dust=False)
        changed = replace(job, environment=replace(environment, **steady), line=clean)
        yield "would-serve-clean-at-one-temperature", {**steady}, changed
    if line.shingled:
        yield (
            "would-serve-before-the-shingle",
            {},
            replace(job, line=replace(line, feeding=None, shingle_pitch_mm=None)),
        )


def _in_time(job: Job, why_not: Iterable[Fact]) -> Iterator[tuple[str, dict[str, Scalar], Job]]:
    """Where a line is too fast: the greatest speed that some class allows, and a controller that looks more often."""
    allowed = [float(fact.values["speed_max_m_per_min"]) for fact in why_not if fact.code == "line-too-fast"]  # type: ignore[arg-type]
    if not allowed:
        return
    if (slower := max(allowed)) > 0.0:
        yield (
            "would-serve-slower",
            {"speed_m_per_min": slower},
            replace(job, line=replace(job.line, speed_m_per_min=slower)),
        )
    scan_ms, filter_ms = job.controller.scan_ms, job.controller.input_filter_ms
    if max(scan_ms or 0.0, filter_ms or 0.0) > AT_ONCE_MS:
        at_once = replace(
            job.controller,
            scan_ms=min(scan_ms or AT_ONCE_MS, AT_ONCE_MS),
            input_filter_ms=AT_ONCE_MS if filter_ms is None else min(filter_ms, AT_ONCE_MS),
        )
        yield "would-serve-read-at-once", {"input_ms": AT_ONCE_MS}, replace(job, controller=at_once)
