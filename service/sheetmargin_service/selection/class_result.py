"""A detector class under a job's conditions: where its heads fit, and what it reads of each sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.mounting.geometry import beam_edge_least_mm, beam_edge_most_mm, edge_at_most_mm
from sheetmargin_service.mounting.space import MountingSpace
from sheetmargin_service.mounting.stream import distribution_in_beam, signal_table_in_beam
from sheetmargin_service.principles import class_models, distributions, principle_of
from sheetmargin_service.principles.gap_limits import behind_face_mm
from sheetmargin_service.principles.protocol import (
    ClassModel,
    Fact,
    Principle,
    Scalar,
    Settings,
    SignalDistribution,
    SignalTable,
)
from sheetmargin_service.principles.sound_beam import SoundBeam
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.time_limit import check_time

AT_ONCE = 16
"""Distributions computed together: more save little, and the time is looked at in between."""
ROOMY_MM = 10.0
"""A pair with a smaller gap touches or guides the sheet, and is mounted as its guides are (a choice)."""
SAME = "same-as-another"
Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class ClassResult:
    """One class under the question's conditions, where it fits, and what it sees of each sheet at every setting.
    `known`: the distributions that were asked for, by setting and sheet. `alone`: what it comes to with each sheet by
    itself, likewise."""

    resolved_job: ResolvedJob
    class_model: ClassModel
    allowed: Flags
    signal_tables: Mapping[int, SignalTable]
    refused: Mapping[int, Fact]
    known: dict[tuple[int, int], SignalDistribution] = field(default_factory=dict, init=False)
    alone: dict[int, tuple[float, Fact]] = field(default_factory=dict, init=False)

    @property
    def detector_class(self) -> DetectorClass:
        return self.class_model.detector_class

    @property
    def principle(self) -> Principle[Any]:
        return principle_of(self.detector_class)

    @cached_property
    def space(self) -> MountingSpace:
        return space_of(self.resolved_job, self.detector_class)

    @cached_property
    def sound_beam(self) -> SoundBeam | None:
        """Its beam of sound; None of a class that has none."""
        return self.principle.sound_beam(self.detector_class.parameters, self.resolved_job.conditions.mean_air())


def class_results_of(
    resolved_job: ResolvedJob, detector_classes: Sequence[DetectorClass], *, every: bool = False
) -> list[ClassResult | Fact]:
    """Each class under the question's conditions with its signals of every sheet, or why it is not looked at: it cannot
    stand there, or, unless `every` one is wanted, it reads as another does."""
    spare = {} if every else same_as_another(resolved_job, detector_classes)
    looked_at = [c for c in detector_classes if c.id not in spare]
    made = zip(looked_at, class_models(looked_at, resolved_job.conditions), strict=True)
    found = {
        c.id: model if isinstance(model, Fact) else _class_result(resolved_job, c, model) for c, model in made
    } | spare
    return [found[c.id] for c in detector_classes]


def same_as_another(resolved_job: ResolvedJob, detector_classes: Sequence[DetectorClass]) -> dict[str, Fact]:
    """Classes that read as another does wherever they fit, and ask for no less: nothing of them need be computed."""
    by_reading: dict[tuple[object, ...], list[DetectorClass]] = {}
    for c in detector_classes:
        by_reading.setdefault((c.principle, c.parameters, c.contactless, c.demands.marks), []).append(c)
    found: dict[str, Fact] = {}
    for alike in by_reading.values():
        if len(alike) > 1:
            models = class_models(alike, resolved_job.conditions)
            fits = {c.id: _fits(resolved_job, c, model) for c, model in zip(alike, models, strict=True)}
            alike = sorted(alike, key=lambda c: (c.demands.effort, c.id))
            for number, c in enumerate(alike):
                for other in alike[:number]:
                    if other.id not in found and _spares(other, c) and fits[c.id] and fits[c.id] <= fits[other.id]:
                        found.setdefault(c.id, _same(c, other))
    return found


def _spares(one: DetectorClass, other: DetectorClass) -> bool:
    return set(one.demands.moved_by) <= set(other.demands.moved_by)


def _same(c: DetectorClass, other: DetectorClass) -> Fact:
    values: dict[str, Scalar] = {"other": other.id, "effort": other.demands.effort, "own_effort": c.demands.effort}
    return Fact(code=SAME, values=values)


def _fits(resolved_job: ResolvedJob, c: DetectorClass, model: ClassModel | Fact) -> set[tuple[float, float]]:
    """Gaps and tilts at which a class can be mounted."""
    if isinstance(model, Fact):
        return set()
    space, settings = space_of(resolved_job, c), model.settings
    allowed = fitting(space, settings) if space.beside_one_another() is None else np.zeros(len(settings.gap_mm), bool)
    return set(zip(settings.gap_mm[allowed].tolist(), settings.tilt_deg[allowed].tolist(), strict=True))


def _class_result(
    resolved_job: ResolvedJob, detector_class: DetectorClass, class_model: ClassModel
) -> ClassResult | Fact:
    space = space_of(resolved_job, detector_class)
    crowded = space.beside_one_another()
    if crowded is not None:
        return crowded
    allowed = fitting(space, class_model.settings)
    if not allowed.any():
        return space.misfit(class_model.settings)
    refused, signal_tables = {}, {}
    for index in range(len(resolved_job.sheets)):
        check_time()
        in_beam = resolved_job.in_beam(index)
        refusal = next((fact for sheet in in_beam if (fact := class_model.refuses(sheet)) is not None), None)
        if refusal is None:
            signal_tables[index] = signal_table_in_beam(class_model, in_beam)
        else:
            refused[index] = refusal
    class_result = ClassResult(
        resolved_job=resolved_job,
        class_model=class_model,
        allowed=allowed,
        signal_tables=signal_tables,
        refused=refused,
    )
    whole = allowed & on_sheet(class_result)
    return replace(class_result, allowed=whole) if whole.any() else class_result


def space_of(resolved_job: ResolvedJob, detector_class: DetectorClass) -> MountingSpace:
    """The machine round one class's heads."""
    in_beam = [sheet for index in range(len(resolved_job.sheets)) for sheet in resolved_job.in_beam(index)]
    thickest = max(s.thickness_um * s.plies for s in in_beam)
    return MountingSpace(
        line=resolved_job.job.line,
        flutter_mm=resolved_job.conditions.flutter_mm,
        flutter_deg=resolved_job.conditions.flutter_deg,
        sheet_mm=1e-3 * thickest,
        rim_mm=0.5 * detector_class.housing.width_mm,
        face_to_sheet_min_mm=principle_of(detector_class).echo_mm(
            detector_class.parameters, resolved_job.conditions.mean_air()
        ),
        behind_mm=behind_face_mm(detector_class.housing, resolved_job.conditions),
    )


def fitting(space: MountingSpace, settings: Settings) -> Flags:
    """Which settings leave room for heads and sheet, (N,). What touches or guides the sheet is not asked."""
    tilts, which = np.unique(settings.tilt_deg, return_inverse=True)
    low, high = np.transpose([space.gap_limits(tilt_deg=tilt) for tilt in tilts.tolist()])[:, which]
    guided = settings.gap_mm < ROOMY_MM if not settings.tilts else False
    return np.asarray(guided | ((settings.gap_mm >= low) & (settings.gap_mm <= high)))


def on_sheet(class_result: ClassResult) -> Flags:
    """At which settings all that is sensed is sheet, as far as the job tells where its edge is, (N,)."""
    settings, beam = class_result.class_model.settings, class_result.sound_beam
    edge_mm, everywhere = edge_at_most_mm(class_result.resolved_job.job.line), np.ones(len(settings.gap_mm), dtype=bool)
    if edge_mm is None:
        return everywhere
    if beam is not None:
        # Most sheets are far wider than any beam.
        gap_mm, tilt_deg = float(settings.gap_mm.max()), float(settings.tilt_deg.max())
        if edge_mm >= beam_edge_most_mm(gap_mm=gap_mm, tilt_deg=tilt_deg, space=class_result.space, beam=beam):
            return everywhere
    each = zip(settings.gap_mm.tolist(), settings.tilt_deg.tolist(), strict=True)
    return np.array([over_edge_at(class_result, gap_mm=gap, tilt_deg=tilt) is None for gap, tilt in each])


def over_edge_at(class_result: ClassResult, *, gap_mm: float, tilt_deg: float) -> Fact | None:
    """That a class senses beyond the sheet's edge at a setting; None where it does not, or the job does not tell."""
    edge_mm = edge_at_most_mm(class_result.resolved_job.job.line)
    if edge_mm is None:
        return None
    if class_result.sound_beam is None:
        code = "edge-in-reach"
        least_mm = class_result.principle.reach_mm(class_result.detector_class.parameters, gap_mm=gap_mm)
    else:
        code, beam = "beam-over-edge", class_result.sound_beam
        least_mm = beam_edge_least_mm(gap_mm=gap_mm, tilt_deg=tilt_deg, space=class_result.space, beam=beam)
    if edge_mm >= least_mm:
        return None
    return Fact(code=code, values={"edge_mm": edge_mm, "least_mm": round(least_mm, 1)})


def distributions_at(asked: Sequence[tuple[ClassResult, int, Sequence[int]]]) -> list[dict[int, SignalDistribution]]:
    """Posts, each at a setting with some sheets by their index: every spread, computed once, and many together, sheet
    by sheet, as classes share the waves in one."""
    new = [
        (class_result, setting, i)
        for class_result, setting, indices in asked
        for i in indices
        if (setting, i) not in class_result.known
    ]
    new.sort(key=_sheet)
    found: list[SignalDistribution] = []
    for _, group in groupby(new, key=_sheet):
        each = [
            (class_result.class_model, sheet, setting)
            for class_result, setting, i in group
            for sheet in class_result.resolved_job.in_beam(i)
        ]
        for start in range(0, len(each), AT_ONCE):
            check_time()
            found += distributions(each[start : start + AT_ONCE])
    following = iter(found)
    for class_result, setting, i in new:
        in_beam = [next(following) for _ in class_result.resolved_job.in_beam(i)]
        class_result.known[setting, i] = distribution_in_beam(in_beam)
    return [{i: class_result.known[setting, i] for i in indices} for class_result, setting, indices in asked]


def _sheet(asked: tuple[ClassResult, int, int]) -> int:
    return asked[2]
