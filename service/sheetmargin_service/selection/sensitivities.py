"""What a job states or leaves open that moves a class's readings and is not computed."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sheetmargin.contract.job import Surface

from sheetmargin_service.detectors.demands import Influence
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.selection.resolved_job import ResolvedJob

STEADY_K = 10.0
"""Air whose temperature is stated within so much is one temperature (a choice)."""
PRINTED = frozenset({"paper", "board", "film", "plastic"})
HYGROSCOPIC = frozenset({"paper", "board", "wood", "textile", "leather", "nonwoven"})
CLEAR = frozenset({"film", "plastic", "glass"})
BRIGHT = PRINTED | {"metal", "glass"}

Open = Callable[[Surface, frozenset[str]], bool]
BY_SHEET: Mapping[Influence, Open] = {
    "print": lambda surface, families: surface.printed is not False and bool(families & PRINTED),
    "gloss": lambda surface, families: surface.gloss is not False and bool(families & BRIGHT),
    "transparency": lambda surface, families: bool(families & CLEAR),
    "moisture": lambda surface, families: bool(families & HYGROSCOPIC),
    "oil": lambda surface, families: surface.oiled is not False and "metal" in families,
    "magnetism": lambda surface, families: "metal" in families,
}
"""Whether a sheet states each influence or leaves it open, by its surface and the families of its materials."""


def sensitivities(detector_class: DetectorClass, resolved_job: ResolvedJob) -> tuple[Influence, ...]:
    """The influences that move the class and that the job states or leaves open, over all its sheets."""
    job = resolved_job.job
    sheets = [(spec.surface, families_of(sheet)) for spec, sheet in zip(job.sheets, resolved_job.sheets, strict=True)]

    def is_open(influence: Influence) -> bool:
        if influence == "dust":
            return job.line.dust is not False
        if influence == "temperature":
            return not _steady(resolved_job.conditions)
        return any(BY_SHEET[influence](*sheet) for sheet in sheets)

    return tuple(influence for influence in detector_class.demands.moved_by if is_open(influence))


def families_of(sheet: Sheet) -> frozenset[str]:
    """Families of the materials of a sheet's layers."""
    return frozenset(layer.material.family for layer in sheet.layers if layer.material)


def _steady(conditions: Conditions) -> bool:
    return conditions.temperature_max_c - conditions.temperature_min_c <= STEADY_K
