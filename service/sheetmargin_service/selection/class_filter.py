"""Which detector classes a job admits, and what each of the others misses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sheetmargin.contract.job import Environment, Job

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.ingress import protects
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Fact, Scalar

WASHED = "IP69K"
"""Protection against jets of hot water (IEC 60529)."""
FILTERED = "requirement-missed"
"""Code of a class that one of the job's own filters leaves out."""


def admitted(job: Job, catalogue: Catalogue, sheets: Sequence[Sheet] = ()) -> tuple[DetectorClass, ...]:
    """The classes left by the job's own filters and by what its sheets are made of, in order of id."""
    return tuple(c for c in _in_order(catalogue) if next(_missed(job, c, sheets), None) is None)


def filtered(job: Job, catalogue: Catalogue, sheets: Sequence[Sheet] = ()) -> dict[str, Fact]:
    """Of each other class, by its id, the first requirement that it misses, with what it has itself."""
    missed = {c.id: next(_missed(job, c, sheets), None) for c in _in_order(catalogue)}
    return {name: fact for name, fact in missed.items() if fact is not None}


def outside_rating(detector_class: DetectorClass, environment: Environment, *, conditions: Conditions) -> Fact | None:
    """That a temperature which the job states is outside what the class is rated for; None where none is."""
    low, high = detector_class.temperature_min_c, detector_class.temperature_max_c
    stated = [t for t in (environment.temperature_min_c, environment.temperature_max_c) if t is not None]
    if all(low <= t <= high for t in stated):
        return None
    return Fact(
        code="outside-rating",
        values={
            "rated_min_c": low,
            "rated_max_c": high,
            "temperature_min_c": conditions.temperature_min_c,
            "temperature_max_c": conditions.temperature_max_c,
        },
    )


def _in_order(catalogue: Catalogue) -> list[DetectorClass]:
    return sorted(catalogue.classes, key=lambda c: c.id)


def _missed(job: Job, c: DetectorClass, sheets: Sequence[Sheet]) -> Iterator[Fact]:
    """What of the job's filters a class misses."""
    require, prefer, line = job.require, job.prefer, job.line
    surfaces = [sheet.surface for sheet in job.sheets]
    by_material = [sheet.gritty for sheet in sheets] or [False] * len(surfaces)
    gritty = any(
        of_it if surface.gritty is None else surface.gritty
        for surface, of_it in zip(surfaces, by_material, strict=True)
    )
    low, high = require.temperature_min_c, require.temperature_max_c
    ingress = require.ingress or (WASHED if line.wash_down else None)
    if job.classes and c.id not in job.classes:
        yield _fact("classes", job.classes, c.id)
    if job.principles and c.principle not in job.principles:
        yield _fact("principles", job.principles, c.principle)
    if require.housing and c.housing.thread not in require.housing:
        yield _fact("housing", require.housing, c.housing.thread)
    if require.output and not set(require.output) & set(c.output):
        yield _fact("output", require.output, ", ".join(c.output))
    if require.supply and c.supply not in require.supply:
        yield _fact("supply", require.supply, c.supply)
    if ingress is not None and not protects(c.ingress, wanted=ingress):
        yield _fact("ingress", ingress, c.ingress)
    if low is not None and c.temperature_min_c > low:
        yield _fact("temperature_min_c", low, c.temperature_min_c)
    if high is not None and c.temperature_max_c < high:
        yield _fact("temperature_max_c", high, c.temperature_max_c)
    if require.contactless is not None and c.contactless != require.contactless:
        yield _fact("contactless", require.contactless, c.contactless)
    if prefer.effort_max is not None and c.demands.effort > prefer.effort_max:
        yield _fact("effort_max", prefer.effort_max, c.demands.effort)
    if line.access == "one-side" and c.demands.access != "one-side":
        yield _fact("access", line.access, c.demands.access)
    if c.demands.marks and any(surface.marks_allowed is False for surface in surfaces):
        yield _fact("marks_allowed", False, True)
    if c.demands.moving_parts and not c.contactless and gritty:
        yield _fact("gritty", True, "moving-parts-in-contact")


def _fact(requirement: str, required: Scalar | Sequence[str], own: Scalar) -> Fact:
    if isinstance(required, Sequence) and not isinstance(required, str):
        required = ", ".join(required)
    return Fact(code=FILTERED, values={"requirement": requirement, "required": required, "own": own})
