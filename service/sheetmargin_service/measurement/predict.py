"""What would I read? Levels and misreads of one sheet at one installed set-up, and over a grid for a plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Margin, Percentiles
from sheetmargin.contract.job import Job
from sheetmargin.contract.measure import (
    AtGrammage,
    AtPosition,
    Grid,
    InstalledSetup,
    MarginMap,
    Prediction,
    PredictionQuestion,
)
from sheetmargin.contract.notes import Assumption, Note, Reason

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.measurement.scaling import scaled
from sheetmargin_service.mounting.condensation import moisture_cautions
from sheetmargin_service.principles import detector_values, principle_of
from sheetmargin_service.principles.protocol import Fact, Places, Span
from sheetmargin_service.selection.bands import DECIMALS
from sheetmargin_service.selection.class_filter import outside_rating
from sheetmargin_service.selection.class_result import ClassResult, distributions_at
from sheetmargin_service.selection.compose import recommendation
from sheetmargin_service.selection.configured_pair import ConfiguredPair, Served, build_configured_pair
from sheetmargin_service.selection.defaults import conditions_of, timed_by
from sheetmargin_service.selection.installation import band_of, check_gap, check_tilt, class_of
from sheetmargin_service.selection.installed_class import choice_of, class_model_at, class_result_at, installed
from sheetmargin_service.selection.notes import cautions
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.recommend import summaries_of
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.search import Choice
from sheetmargin_service.selection.targets import targets_of
from sheetmargin_service.selection.tried import with_trials
from sheetmargin_service.selection.version import model_version

Array = NDArray[np.float64]
SETUP = "setup"
"""Where in a question the installation stands."""
LEAST_SIDE_MM = 1.0
"""A sheet nearer than this to a face touches it."""


def resolved_job_of(job: Job, catalogue: Catalogue, library: Library) -> tuple[ResolvedJob, tuple[Assumption, ...]]:
    """The job of one sheet made ready, with a note for each default. QuestionError for a sheet that cannot be."""
    sheets = tuple(resolve_sheet(spec, library) for spec in job.sheets)
    conditions, default_notes = conditions_of(job)
    targets, target_notes = targets_of(job.targets)
    _, timing_notes = timed_by(job)
    resolved_job = with_trials(ResolvedJob(job=job, sheets=sheets, conditions=conditions, targets=targets), catalogue)
    sheet_notes = tuple(
        Assumption(
            code=a.code,
            pointer=f"/sheet/{a.field}".rstrip("/"),
            value=a.value,
            values=a.values,
            source=a.source or None,
        )
        for a in sheets[0].assumptions
    )
    return resolved_job, default_notes + timing_notes + target_notes + sheet_notes


def predict(asked: PredictionQuestion, *, job: Job, catalogue: Catalogue, library: Library) -> Prediction:
    """Levels, margins and misreads. QuestionError for a sheet or a set-up that cannot be."""
    resolved_job, notes = resolved_job_of(job, catalogue, library)
    setup, grid, band = asked.setup, asked.grid or Grid(), band_of(asked.setup)
    detector_class = class_of(setup.detector_class, catalogue, field=f"{SETUP}/detector_class")
    class_result = class_result_at(resolved_job, detector_class, setup, field=SETUP)
    choice = choice_of(setup, tilts=class_result.class_model.settings.tilts)
    (configured_pair,) = _configured_pairs([(class_result, choice)], band=band)
    predicted = recommendation(Plan(configured_pairs=(configured_pair,), left_out={}), resolved_job.sheets, rank=1)
    if setup.profile.hold_ms is not None:
        told = predicted.setups[0]
        told = replace(told, profile=replace(told.profile, hold_ms=setup.profile.hold_ms))
        predicted = replace(predicted, setups=(told,))
    unrated = outside_rating(detector_class, job.environment, conditions=resolved_job.conditions)
    mounting = predicted.setups[0].mounting
    if unrated is not None:
        predicted = replace(predicted, verdict="unsuitable", limited_by="air-beyond-rating")
    if mounting is not None and not mounting.fits:
        misfit = class_result.space.misfit(class_result.class_model.settings)
        reasons = (Reason(code=misfit.code, values=misfit.values, source=None), *predicted.reasons)
        predicted = replace(predicted, verdict="unsuitable", limited_by=misfit.code, reasons=reasons)
    return Prediction(
        reference=job.reference,
        model_version=model_version(),
        catalogue_version=catalogue.version,
        sheets=summaries_of(resolved_job),
        predicted=predicted,
        gap_tilt=_map(grid, resolved_job, detector_class, band=band) if grid.gap_mm else None,
        positions=_positions(grid, configured_pair, setup) if grid.position_mm else (),
        grammages=_grammages(grid, configured_pair, band=(configured_pair.low, configured_pair.high)),
        assumptions=notes,
        cautions=cautions((predicted,))
        + moisture_cautions(job.environment, resolved_job.conditions)
        + (() if unrated is None else (_beyond_rating(detector_class, unrated),)),
    )


def _beyond_rating(detector_class: DetectorClass, unrated: Fact) -> Note:
    """A pair stands where it stands: its levels are told, and that nobody warrants them in this air."""
    return Note(code="air-beyond-rating", values={**detector_values(detector_class), **unrated.values})


def _configured_pairs(
    standing: Sequence[tuple[ClassResult, Choice]], *, band: tuple[int, int] | None
) -> list[ConfiguredPair]:
    """Classes as they stand, their one sheet read in full: what a set-up tells, and what every sweep does. With a band
    that was given; else each with the best."""
    found = distributions_at([(class_result, choice.setting, [0]) for class_result, choice in standing])
    return [
        build_configured_pair(class_result, choice.setting, distributions, choice=choice, band=band)
        for (class_result, choice), distributions in zip(standing, found, strict=True)
    ]


def _map(
    grid: Grid, resolved_job: ResolvedJob, detector_class: DetectorClass, *, band: tuple[int, int] | None
) -> MarginMap:
    """Margins with the band that was given; else with the best band of each place."""
    for index, gap in enumerate(grid.gap_mm):
        check_gap(detector_class, gap, field=f"grid/gap_mm/{index}")
    for index, tilt in enumerate(grid.tilt_deg):
        check_tilt(detector_class, tilt, field=f"grid/tilt_deg/{index}")
    # Where tilt means something, all places cost little more than one; elsewhere each gap says whether it fits.
    tilted = principle_of(detector_class).greatest_tilt_deg(detector_class.parameters) > 0.0
    rows: list[Sequence[float]] = [grid.gap_mm] if tilted else [(gap,) for gap in grid.gap_mm]
    standing = []
    for gaps in rows:
        class_result = _class_result_at(resolved_job, detector_class, gaps, grid.tilt_deg)
        for setting, (gap, tilt) in enumerate(product(gaps, grid.tilt_deg)):
            here = InstalledSetup(detector_class=detector_class.id, gap_mm=gap, tilt_deg=tilt)
            choice = choice_of(here, tilts=class_result.class_model.settings.tilts, setting=setting)
            standing.append((class_result, choice))
    served = [configured_pair.served[0] for configured_pair in _configured_pairs(standing, band=band)]
    tables = np.array([(one.worst, one.signal_table.single.p50[0], one.signal_table.double.p50[0]) for one in served])
    margin, single, double = (
        tuple(tuple(round(value, DECIMALS) for value in row) for row in table.tolist())
        for table in tables.T.reshape(3, len(grid.gap_mm), len(grid.tilt_deg))
    )
    return MarginMap(gap_mm=grid.gap_mm, tilt_deg=grid.tilt_deg, margin=margin, single=single, double=double)


def _class_result_at(
    resolved_job: ResolvedJob, detector_class: DetectorClass, gaps: Sequence[float], tilts: Sequence[float]
) -> ClassResult:
    class_model = class_model_at(
        detector_class, resolved_job.conditions, Places(gap_mm=tuple(gaps), tilt_deg=tuple(tilts))
    )
    if isinstance(class_model, Fact):
        raise QuestionError(
            code=class_model.code,
            field="grid/gap_mm",
            detail=Filled(
                "{name} does not fit the line at a gap of {gap:g} mm.", name=detector_class.id, gap=float(gaps[0])
            ),
            expected="gaps for which the clearances leave room",
        )
    return installed(resolved_job, class_model)


def _positions(grid: Grid, configured_pair: ConfiguredPair, setup: InstalledSetup) -> tuple[AtPosition, ...]:
    """The median of one sheet at each place between the faces. Only a beam of sound feels one."""
    class_result, gap = configured_pair.class_result, setup.gap_mm
    for index, x in enumerate(grid.position_mm):
        if class_result.sound_beam is not None and abs(x) > 0.5 * gap - LEAST_SIDE_MM:
            raise QuestionError(
                code="out-of-range",
                field=f"grid/position_mm/{index}",
                detail=Filled(
                    "The sheet touches a face {x:g} mm from the middle of a gap of {gap:g} mm.", x=x, gap=gap
                ),
                expected=Filled("up to {most:g} mm either way", most=0.5 * gap - LEAST_SIDE_MM),
            )
    median = float(configured_pair.served[0].signal_table.single.p50[0])
    moved = class_result.principle.moved_by_position(
        class_result.detector_class.parameters,
        class_result.resolved_job.conditions,
        places=Places(gap_mm=(gap,), tilt_deg=(setup.tilt_deg,)),
        position_mm=np.array(grid.position_mm),
        level=median,
    )
    return tuple(
        AtPosition(position_mm=x, single=round(median + by, DECIMALS))
        for x, by in zip(grid.position_mm, moved.tolist(), strict=True)
    )


def _grammages(grid: Grid, configured_pair: ConfiguredPair, *, band: tuple[int, int]) -> tuple[AtGrammage, ...]:
    """Levels and margins of the same sheet in other grammages, where it stands and with the band as it is."""
    class_result, choice = configured_pair.class_result, configured_pair.choice
    sheet = class_result.resolved_job.sheets[0]
    standing = [
        (
            installed(
                class_result.resolved_job.of_sheet(scaled(sheet, gsm / sheet.grammage_gsm)), class_result.class_model
            ),
            choice,
        )
        for gsm in grid.grammage_gsm
    ]
    return tuple(
        _grammage(gsm, heavier.served[0])
        for gsm, heavier in zip(grid.grammage_gsm, _configured_pairs(standing, band=band), strict=True)
    )


def _grammage(grammage_gsm: float, served: Served) -> AtGrammage:
    no_sheet, single, double = served.margin
    return AtGrammage(
        grammage_gsm=grammage_gsm,
        no_sheet=_percentiles(served.signal_table.no_sheet),
        single=_percentiles(served.signal_table.single),
        double=_percentiles(served.signal_table.double),
        margin=Margin(no_sheet=no_sheet, single=single, double=double),
    )


def _percentiles(span: Span) -> Percentiles:
    p1, p50, p99 = (round(float(p[0]), DECIMALS) for p in (span.p1, span.p50, span.p99))
    return Percentiles(p1=p1, p50=p50, p99=p99)
