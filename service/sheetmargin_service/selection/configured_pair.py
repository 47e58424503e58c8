"""A detector pair at one setting with one band, and the sheets it serves there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import inf, nextafter
from typing import Any

import numpy as np
from sheetmargin.contract.answer import Verdict
from sheetmargin.contract.mounting import Alignment, Geometry, Mounting, Timing

from sheetmargin_service.cached import cached_property
from sheetmargin_service.mounting.geometry import mount
from sheetmargin_service.mounting.stream import widest
from sheetmargin_service.mounting.timing import doubt_by_timing, time_line, verdict_of_doubt
from sheetmargin_service.principles.protocol import Fact, Principle, Receiver, SignalDistribution, SignalTable
from sheetmargin_service.selection.bands import DECIMALS, choose_bands, margins
from sheetmargin_service.selection.class_result import ROOMY_MM, ClassResult, over_edge_at
from sheetmargin_service.selection.experience import Experience, judge_by
from sheetmargin_service.selection.misreads import rates_of
from sheetmargin_service.selection.readings import reading_of, readings_of
from sheetmargin_service.selection.search import Choice, choice_at, receiver_at
from sheetmargin_service.selection.slack import alignment_of, too_narrow
from sheetmargin_service.selection.targets import LEAST_TO_TURN, ORDER, SUITABLE, Judgement
from sheetmargin_service.selection.time_limit import check_time

STRIDES = (4, 2, 1)
"""Steps by which an edge of a band is moved at once, as long as that helps: wide ones first (a choice)."""


@dataclass(frozen=True, kw_only=True)
class Read:
    """One sheet before a pair, whatever its band, with its own times: how long a double of it lasts."""

    distribution: SignalDistribution
    signal_table: SignalTable
    timing: Timing
    experience: Experience | None


@dataclass(frozen=True, kw_only=True)
class Served(Read):
    """The same in a band."""

    margin: tuple[float, float, float]
    judgement: Judgement

    @property
    def worst(self) -> float:
        return min(self.margin)


@dataclass(frozen=True, kw_only=True)
class ConfiguredPair:
    """A pair as it is bought, placed and set.

    `alignment`: how well the faces must be aligned; None for a pair without a beam of sound. `narrow`: what of the pair
    cannot be set as exactly as its window asks; None where all can. `over_edge`: that the beam reaches over the sheet's
    edge; None where it does not.
    """

    class_result: ClassResult
    choice: Choice
    low: int
    high: int
    served: Mapping[int, Served]
    alignment: Alignment | None
    narrow: Fact | None
    over_edge: Fact | None

    @property
    def cut_out(self) -> Fact | None:
        """That a window or a hole of a sheet that it serves may come under its spot; None where none does."""
        sheets = self.class_result.resolved_job.job.sheets
        open_at = [i for i in self.served if sheets[i].surface.cut_out]
        return Fact(code="cut-out-under-spot", values={"sheet": open_at[0]}) if open_at else None

    @cached_property
    def mounting(self) -> Mounting | None:
        """Where the heads stand; None for a pair that touches or guides the sheet."""
        if self.choice.gap.nominal < ROOMY_MM:
            return None
        return mount(
            geometry=self.geometry,
            housing=self.class_result.detector_class.housing,
            space=self.class_result.space,
            beam=self.class_result.sound_beam,
        )

    @property
    def worst(self) -> float:
        return min(s.worst for s in self.served.values())

    @property
    def least_chance(self) -> float:
        """The chance that all targets are met, of the sheet that is least sure."""
        return min(served.judgement.chance for served in self.served.values())

    @property
    def timing(self) -> Timing:
        """The times of the sheet whose doubles are the shortest."""
        sheets = self.class_result.resolved_job.sheets
        overlaps = {i: sheets[i].overlap_mm for i in self.served}
        return self.served[min(overlaps, key=lambda i: (inf if overlaps[i] is None else overlaps[i], i))].timing

    @property
    def doubt(self) -> str | None:
        """What its times say against it, by its code; None for nothing."""
        return doubt_by_timing(self.timing, speed_m_per_min=self.class_result.resolved_job.job.line.speed_m_per_min)

    @property
    def verdict(self) -> Verdict:
        """That of the sheet that it serves worst, or of its times where they allow less."""
        by_timing = verdict_of_doubt(self.doubt)
        return max((by_timing, *(s.judgement.verdict for s in self.served.values())), key=lambda v: ORDER[v])

    @property
    def geometry(self) -> Geometry:
        return Geometry(gap_mm=self.choice.gap, tilt_deg=self.choice.tilt)


def build_configured_pair(
    class_result: ClassResult,
    setting: int,
    distributions: Mapping[int, SignalDistribution],
    *,
    choice: Choice | None = None,
    band: tuple[int, int] | None = None,
) -> ConfiguredPair:
    """The pair at a setting for some sheets: in the band that suits them all unless one is given, and free to move as
    far as that allows unless a choice is.

    A band suits by its margins, which weigh every state alike and know nothing of targets. Where its targets are not
    sure to be met, and not out of reach, an edge is moved away from what is misread most, as long as that makes them
    more likely to be. Where the receiver's limits leave the band no room to set the pair by hand, an edge gives way by
    a step if that does.
    """
    principle, step = class_result.principle, class_result.principle.band_step
    signal_tables = {i: _signal_table(distribution, principle) for i, distribution in distributions.items()}
    held = partial(_held_in, class_result, setting, tuple(distributions), choice)
    receiver = receiver_at(class_result.class_model.receiver, setting)
    if band is None:
        bands = choose_bands(list(signal_tables.values()), receiver, step=step)
        first = held((int(bands.low[0]), int(bands.high[0])))
    else:
        first = held(band)
    sheets = {i: _read(first, i, distribution, signal_tables[i]) for i, distribution in distributions.items()}
    pair = _in_band(first, {i: (one, _judged(class_result, i, one, first.band)) for i, one in sheets.items()})
    if band is not None:
        return pair
    for stride in STRIDES if LEAST_TO_TURN <= pair.least_chance < SUITABLE else ():
        while (moved := _moved_edge(pair, receiver, stride * step)) is not None:
            judged = _judged_better(pair, moved, least=nextafter(pair.least_chance, inf))
            if judged is None:
                break
            pair = _in_band(held(moved), judged)
    if pair.narrow is not None and pair.worst > 0.0:
        bands_inside = ((pair.low + step, pair.high), (pair.low, pair.high - step))
        inner = (one for band in bands_inside if band[0] < band[1] and (one := held(band)).narrow is None)
        wide = ((one, _judged_better(pair, one.band, least=pair.least_chance)) for one in inner)
        pair = next((_in_band(one, judged) for one, judged in wide if judged is not None), pair)
    return pair


def _moved_edge(pair: ConfiguredPair, receiver: Receiver, by: int) -> tuple[int, int] | None:
    """The band with one edge so far away from what the sheet that is least sure is misread as; None beyond the
    receiver's limits."""
    served = min(pair.served.values(), key=lambda one: one.judgement.chance)
    above = served.signal_table.double.p50[0] >= served.signal_table.single.p50[0]
    low_by, high_by = {
        "single_as_no_sheet": (-1, 0),
        "single_as_double": (0, 1),
        "no_sheet_as_single": (1, 0),
        "no_sheet_as_double": (0, 1),
        "double_as_no_sheet": (-1, 0),
        "double_as_single": (0, -1) if above else (1, 0),
    }[served.judgement.pair]
    low, high = pair.low + by * low_by, pair.high + by * high_by
    fits = receiver.lowest_edge[0] <= low < high <= receiver.highest_edge[0] and high - low <= receiver.widest_band
    return (low, high) if fits else None


@dataclass(frozen=True, kw_only=True)
class _Held:
    """A pair in a band, and how exactly it can be set there, before any sheet is judged."""

    class_result: ClassResult
    choice: Choice
    band: tuple[int, int]
    alignment: Alignment | None
    narrow: Fact | None

    @property
    def stands(self) -> tuple[float, float]:
        """Its gap in mm and its tilt in degrees."""
        return self.choice.gap.nominal, self.choice.tilt.nominal if self.choice.tilt else 0.0


def _held_in(
    class_result: ClassResult, setting: int, sheets: Sequence[int], choice: Choice | None, band: tuple[int, int]
) -> _Held:
    """The pair at a setting in a band, for some sheets by their index."""
    if choice is None:
        first = {i: class_result.signal_tables[i] for i in sheets}
        edges = float(band[0]), float(band[1])
        choice = choice_at(class_result.class_model, first, setting, allowed=class_result.allowed, band=edges)
    alignment = alignment_of(class_result, choice)
    narrow = too_narrow(class_result, choice, alignment)
    return _Held(class_result=class_result, choice=choice, band=band, alignment=alignment, narrow=narrow)


def _read(held: _Held, index: int, distribution: SignalDistribution, signal_table: SignalTable) -> Read:
    class_result, resolved_job = held.class_result, held.class_result.resolved_job
    timing = time_line(
        line=resolved_job.job.line,
        controller=resolved_job.job.controller,
        reading=reading_of(class_result, held.choice),
        overlap_mm=resolved_job.sheets[index].overlap_mm,
        assumed=resolved_job.assumed,
    )
    gap_mm, tilt_deg = held.stands
    experience = resolved_job.experience(
        index, detector_class=class_result.detector_class.id, gap_mm=gap_mm, tilt_deg=tilt_deg
    )
    return Read(distribution=distribution, signal_table=signal_table, timing=timing, experience=experience)


def _judged(class_result: ClassResult, index: int, sheet: Read, band: tuple[int, int]) -> Judgement:
    """A sheet in a band, of a pair that can be set there."""
    check_time()
    readings = readings_of(class_result.detector_class, sheet.timing)
    rates = rates_of(sheet.distribution, class_result.principle.grid, low=band[0], high=band[1], readings=readings)
    resolved_job = class_result.resolved_job
    approximate = resolved_job.sheets[index].approximate
    return judge_by(sheet.experience, rates, resolved_job.targets, approximate=approximate)


def _judged_better(
    pair: ConfiguredPair, band: tuple[int, int], *, least: float
) -> dict[int, tuple[Read, Judgement]] | None:
    """The sheets of a pair in another band; None where one of them is less sure there than `least`: those that are
    least sure now are looked at first, and the others only if these do."""
    judged = {}
    for i in sorted(pair.served, key=lambda i: pair.served[i].judgement.chance):
        judged[i] = _judged(pair.class_result, i, pair.served[i], band)
        if judged[i].chance < least:
            return None
    return {i: (one, judged[i]) for i, one in pair.served.items()}


def _in_band(held: _Held, judged: Mapping[int, tuple[Read, Judgement]]) -> ConfiguredPair:
    """The pair in a band as it serves some sheets."""
    class_result, choice = held.class_result, held.choice
    low, high = (np.array([float(edge)]) for edge in held.band)
    gap_mm, tilt_deg = held.stands
    over = over_edge_at(class_result, gap_mm=gap_mm, tilt_deg=tilt_deg)
    settable = held.narrow is None and over is None
    served = {}
    for i, (sheet, judgement) in judged.items():
        no_sheet, single, double = (
            round(float(m[0]), DECIMALS) for m in margins(sheet.signal_table, low=low, high=high)
        )
        cut_out = class_result.resolved_job.job.sheets[i].surface.cut_out
        served[i] = Served(
            distribution=sheet.distribution,
            signal_table=sheet.signal_table,
            timing=sheet.timing,
            margin=(no_sheet, single, double),
            judgement=judgement if settable and not cut_out else judgement.at_most_trial(),
            experience=sheet.experience,
        )
    return ConfiguredPair(
        class_result=class_result,
        choice=choice,
        low=held.band[0],
        high=held.band[1],
        served=served,
        alignment=held.alignment,
        narrow=held.narrow,
        over_edge=over,
    )


def without(configured_pair: ConfiguredPair, indices: Sequence[int]) -> ConfiguredPair:
    """The same pair with some sheets taken away."""
    return replace(configured_pair, served={i: s for i, s in configured_pair.served.items() if i not in indices})


def _signal_table(distribution: SignalDistribution, principle: Principle[Any]) -> SignalTable:
    check_time()
    grid, fewer = principle.grid, distribution.fewer
    single = [spread.span(grid) for spread in (distribution.single, distribution.other) if spread is not None]
    return SignalTable(
        no_sheet=distribution.no_sheet.span(grid),
        single=widest(single),
        double=distribution.double.span(grid),
        fewer=None if fewer is None else fewer.span(grid),
    )
