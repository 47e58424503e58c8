"""From a job to a ranked recommendation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.principles import principles
from sheetmargin_service.prediction.principles.base import Bench, Fact, Principle, Survey
from sheetmargin_service.selection.admission import admitted
from sheetmargin_service.selection.answer import (
    Answer,
    Changeovers,
    ClassSummary,
    Geometry,
    Margin,
    Misread,
    Misreads,
    Note,
    Order,
    Percentiles,
    Profile,
    Recommendation,
    Rejection,
    Setup,
    SheetResult,
    SheetSummary,
    Signal,
    Unplaced,
)
from sheetmargin_service.selection.bands import Bands, choose_bands, margins
from sheetmargin_service.selection.causes import cause, limiting_state
from sheetmargin_service.selection.defaults import conditions_of
from sheetmargin_service.selection.job import Job
from sheetmargin_service.selection.notes import cautions, trial_steps
from sheetmargin_service.selection.search import Choice, best_setting, receiver_at, span_of
from sheetmargin_service.selection.version import model_version

DECIMALS = 1
"""Decimals of signals and margins; ranking happens after rounding."""
NO_MISREAD = Misread(estimate=None, low=None, high=None, floored=False)
NO_MISREADS = Misreads(
    single_as_double=NO_MISREAD,
    single_as_no_sheet=NO_MISREAD,
    double_as_single=NO_MISREAD,
    double_as_no_sheet=NO_MISREAD,
    no_sheet_as_single=NO_MISREAD,
    no_sheet_as_double=NO_MISREAD,
)


@dataclass(frozen=True, kw_only=True)
class Placement:
    """One class set for the sheets it can serve, and why it leaves out the others."""

    bench: Bench
    choice: Choice
    bands: Bands
    surveys: Mapping[int, Survey]
    left_out: Mapping[int, Fact]

    @property
    def worst(self) -> float:
        return round(float(self.bands.worst[0]), DECIMALS)


def recommend(job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
    """Rank what can serve the job's sheets; say why the rest cannot. SheetError for a sheet that makes no sense."""
    sheets = [resolve_sheet(spec, library) for spec in job.sheets]
    conditions, defaults = conditions_of(job)
    placements: list[Placement] = []
    rejected: list[Rejection] = []
    for detector_class in admitted(job, catalogue):
        principle = principles()[detector_class.principle]
        bench = principle.bench(detector_class, conditions)
        if isinstance(bench, Fact):
            rejected.append(_rejection(detector_class, bench))
            continue
        placed = _place(bench, principle, sheets)
        if isinstance(placed, Fact):
            rejected.append(_rejection(detector_class, placed))
        else:
            placements.append(placed)
    placements.sort(key=_rank)
    recommendations = tuple(
        _recommendation(placement, sheets, rank=rank) for rank, placement in enumerate(placements[: job.limit], start=1)
    )
    rejected.extend(
        _rejection(p.bench.detector_class, Fact(code="outranked", values={"margin": p.worst, "limit": job.limit}))
        for p in placements[job.limit :]
    )
    return Answer(
        reference=job.reference,
        model_version=model_version(),
        catalogue_version=catalogue.version,
        verdict=recommendations[0].verdict if recommendations else "unsuitable",
        sheets=tuple(_summary(index, sheet) for index, sheet in enumerate(sheets)),
        recommendations=recommendations,
        rejected=tuple(sorted(rejected, key=lambda r: r.detector_class)),
        trial=trial_steps(recommendations, sheets),
        assumptions=defaults + _sheet_assumptions(sheets),
        cautions=cautions(recommendations),
    )


def _place(bench: Bench, principle: Principle, sheets: Sequence[Sheet]) -> Placement | Fact:
    """Set the class for as many sheets as one setting can serve: leave out the worst until the rest has margin."""
    left_out: dict[int, Fact] = {}
    surveys: dict[int, Survey] = {}
    for index, sheet in enumerate(sheets):
        refused = bench.refuses(sheet)
        if refused is None:
            surveys[index] = bench.survey(sheet)
        else:
            left_out[index] = refused
    step = principle.band_step
    while surveys:
        choice = best_setting(bench, surveys, step=step)
        receiver = receiver_at(bench.receiver, choice.setting)
        detailed = {index: _detailed(bench, principle, sheets[index], choice.setting) for index in surveys}
        bands = choose_bands(list(detailed.values()), receiver, step=step)
        if bands.worst[0] > 0:
            return Placement(bench=bench, choice=choice, bands=bands, surveys=detailed, left_out=left_out)
        alone = {i: choose_bands([s], receiver, step=step) for i, s in detailed.items()}
        within = {i: min(float(m[0]) for m in margins(s, low=bands.low, high=bands.high)) for i, s in detailed.items()}
        worst = min(within, key=lambda i: (min(within[i], float(alone[i].worst[0])), -i))
        reason = cause(detailed[worst], receiver, alone[worst])
        if alone[worst].worst[0] > 0:
            reason = Fact(code="no-common-band", values={"margin_alone": round(float(alone[worst].worst[0]), DECIMALS)})
        left_out[worst] = reason
        del surveys[worst]
    return left_out[min(left_out)]


def _detailed(bench: Bench, principle: Principle, sheet: Sheet, setting: int) -> Survey:
    detail = bench.detail(sheet, setting)
    grid = principle.grid
    return Survey(
        no_sheet=span_of(grid, detail.no_sheet),
        single=span_of(grid, detail.single),
        double=span_of(grid, detail.double),
        fewer=None if detail.fewer is None else span_of(grid, detail.fewer),
    )


def _rank(placement: Placement) -> tuple[int, float, bool, float, str]:
    """Most sheets served, greatest worst margin, then the simpler set-up: no tilt, wider gap window, id."""
    choice = placement.choice
    return (
        -len(placement.surveys),
        -placement.worst,
        bool(choice.tilt and choice.tilt.nominal),
        -(choice.gap.max - choice.gap.min),
        placement.bench.detector_class.id,
    )


def _recommendation(placement: Placement, sheets: Sequence[Sheet], *, rank: int) -> Recommendation:
    bench, choice = placement.bench, placement.choice
    c = bench.detector_class
    principle = principles()[c.principle]
    low, high = int(placement.bands.low[0]), int(placement.bands.high[0])
    setup = Setup(
        index=0,
        detector_class=ClassSummary(
            id=c.id,
            principle=c.principle,
            frequency_hz=getattr(c.parameters, "frequency_hz", None),
            illustrative=c.illustrative,
        ),
        geometry=Geometry(gap_mm=choice.gap, tilt_deg=choice.tilt),
        profile=Profile(id=f"band-{low}-{high}", single_band=(low, high), hold_ms=None),
        alignment=None,
        mounting=None,
        timing=None,
        order=tuple(Order(role=o.role, part_number=o.part_number, quantity=o.quantity) for o in c.order),
    )
    critical = min(placement.surveys, key=lambda i: (round(_least(placement, i), DECIMALS), i))
    reasons = [
        Note(
            code="limiting-margin",
            values={
                "sheet": critical,
                "state": limiting_state(placement.bands),
                "margin": placement.worst,
                "unit": principle.unit,
            },
        )
    ]
    for fact in bench.facts(sheets[critical], choice.setting):
        reasons.append(Note(code=fact.code, values=fact.values, source=fact.source))
    return Recommendation(
        rank=rank,
        verdict="trial",
        changeovers=Changeovers(detector_class=0, geometry=0, profile=0),
        setups=(setup,),
        sheets=tuple(_result(placement, index, principle) for index in sorted(placement.surveys)),
        unplaced=tuple(
            Unplaced(index=index, code=fact.code, values=fact.values)
            for index, fact in sorted(placement.left_out.items())
        ),
        reasons=tuple(reasons),
    )


def _least(placement: Placement, index: int) -> float:
    each = margins(placement.surveys[index], low=placement.bands.low, high=placement.bands.high)
    return min(float(m[0]) for m in each)


def _result(placement: Placement, index: int, principle: Principle) -> SheetResult:
    survey = placement.surveys[index]
    spans = {
        state: Percentiles(**{p: round(float(getattr(span, p)[0]), DECIMALS) for p in ("p1", "p50", "p99")})
        for state, span in (("no_sheet", survey.no_sheet), ("single", survey.single), ("double", survey.double))
    }
    no_sheet, single, double = (
        round(float(m[0]), DECIMALS) for m in margins(survey, low=placement.bands.low, high=placement.bands.high)
    )
    return SheetResult(
        index=index,
        setup=0,
        signal=Signal(quantity=principle.quantity, unit=principle.unit, **spans),
        margin=Margin(no_sheet=no_sheet, single=single, double=double),
        misread_ppm=NO_MISREADS,
    )


def _rejection(detector_class: DetectorClass, fact: Fact) -> Rejection:
    return Rejection(detector_class=detector_class.id, code=fact.code, values=fact.values)


def _summary(index: int, sheet: Sheet) -> SheetSummary:
    return SheetSummary(
        index=index,
        label=sheet.label,
        material=sheet.material_id,
        grammage_gsm=sheet.grammage_gsm,
        thickness_um=sheet.thickness_um,
        density_kg_m3=sheet.density_kg_m3,
    )


def _sheet_assumptions(sheets: Sequence[Sheet]) -> tuple[Note, ...]:
    return tuple(
        Note(
            code=a.code,
            pointer=f"/sheets/{index}/{a.field}".rstrip("/"),
            value=a.value,
            values=a.values,
            source=a.source or None,
        )
        for index, sheet in enumerate(sheets)
        for a in sheet.assumptions
    )
