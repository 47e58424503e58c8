"""A detector pair at one setting with one band, and the sheets it serves there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import ceil, degrees, inf

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Misreads, Verdict
from sheetmargin.contract.job import Job
from sheetmargin.contract.mounting import Alignment, Geometry, Mounting, Timing

from sheetmargin_service.acoustics.air import absorption_db_per_m
from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.mounting.alignment import align
from sheetmargin_service.mounting.crosstalk import SoundBeam, least_pitch_mm, turns
from sheetmargin_service.mounting.geometry import footprint_on_sheet, mount, over_edge
from sheetmargin_service.mounting.space import MountingSpace
from sheetmargin_service.mounting.stream import Stream, distribution_in_beam, in_stream, stream_of, widest
from sheetmargin_service.mounting.timing import Assumed, Reading, doubt_by_timing, time_line, verdict_of_doubt
from sheetmargin_service.principles import distributions, principles
from sheetmargin_service.principles.conditions import Conditions
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
from sheetmargin_service.selection.bands import Bands, choose_bands, margins
from sheetmargin_service.selection.defaults import timed_by
from sheetmargin_service.selection.failure_modes import cause
from sheetmargin_service.selection.misreads import Readings, misreads_of, rates_of
from sheetmargin_service.selection.search import NO_SLACK, Choice, Slack, choice_at, receiver_at, spans_of
from sheetmargin_service.selection.targets import ORDER, Judgement, judge
from sheetmargin_service.selection.time_limit import check_time

DECIMALS = 1
"""Decimals of signals and margins; ranking happens after rounding."""
AT_ONCE = 16
"""Details computed together: more save little, and the time is looked at in between."""
ROOMY_MM = 10.0
"""A pair with a smaller gap touches or guides the sheet, and is mounted as its guides are (a choice)."""
GAP_SET_MM = 1.0
"""A gap is set by a rule, to a millimetre (common practice, no source)."""
ALIGNED_HALF_ANGLES = 0.7
"""A face turned by so many half angles of its beam has lost 1 dB at any gap (within 2 % over the reference classes;
what is told is computed)."""
Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class ResolvedJob:
    """A job made ready: its sheets resolved, its surroundings and targets filled in."""

    job: Job
    sheets: tuple[Sheet, ...]
    conditions: Conditions
    targets: Mapping[str, float]
    _stacks: dict[tuple[int, int], Sheet] = field(default_factory=dict)
    _in_beam: dict[int, tuple[Sheet, ...]] = field(default_factory=dict)

    @cached_property
    def assumed(self) -> Assumed:
        """Line and controller with what is taken of them where times ask for it."""
        return timed_by(self.job)[0]

    @cached_property
    def stream(self) -> Stream | None:
        """How the sheets lie on one another; None where they come one by one."""
        return stream_of(self.job.line)

    def in_beam(self, index: int) -> tuple[Sheet, ...]:
        """All that is correct in the beam of one of the sheets, the same objects for every class: the sheet, or what a
        stream of it has there in turn."""
        if index not in self._in_beam:
            sheet = self.sheets[index]
            self._in_beam[index] = (sheet,) if self.stream is None else in_stream(sheet, self.stream)
        return self._in_beam[index]

    def stack(self, index: int, plies: int) -> Sheet:
        """One of the sheets with another number of plies, one object for every class that is asked about it."""
        return self._stacks.setdefault((index, plies), replace(self.sheets[index], plies=plies))

    def of_sheet(self, sheet: Sheet) -> ResolvedJob:
        """The same asked of one other sheet."""
        return replace(self, sheets=(sheet,), _stacks={}, _in_beam={})


@dataclass(frozen=True, kw_only=True)
class ClassResult:
    """One class under the question's conditions, where it fits, and what it sees of each sheet at every setting."""

    resolved_job: ResolvedJob
    class_model: ClassModel
    allowed: Flags
    signal_tables: Mapping[int, SignalTable]
    refused: Mapping[int, Fact]

    @property
    def detector_class(self) -> DetectorClass:
        return self.class_model.detector_class

    @property
    def principle(self) -> Principle:
        return principles()[self.detector_class.principle]

    @cached_property
    def space(self) -> MountingSpace:
        return space_of(self.resolved_job, self.detector_class)

    @cached_property
    def beam(self) -> SoundBeam | None:
        """What mounting and timing need to know of an ultrasonic class's sound; None of any other."""
        p = self.detector_class.parameters
        if not isinstance(p, UltrasonicParameters):
            return None
        air = self.resolved_job.conditions.mean_air()
        return SoundBeam(
            wavenumber_per_m=2.0 * np.pi * p.frequency_hz / air.sound_speed_m_per_s,
            face_radius_mm=p.face_radius_mm,
            absorption_db_per_m=float(absorption_db_per_m(frequency_hz=p.frequency_hz, air=air)),
            bypass_db=p.bypass_db,
        )


@dataclass(frozen=True, kw_only=True)
class Served:
    """One sheet at a pair, with its own times: how long a double of it lasts."""

    distribution: SignalDistribution
    signal_table: SignalTable
    timing: Timing
    margin: tuple[float, float, float]
    misreads: Misreads
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

    @cached_property
    def mounting(self) -> Mounting | None:
        """Where the heads stand; None for a pair that touches or guides the sheet."""
        if self.choice.gap.nominal < ROOMY_MM:
            return None
        return mount(
            geometry=self.geometry,
            housing=self.class_result.detector_class.housing,
            space=self.class_result.space,
            beam=self.class_result.beam,
        )

    @property
    def worst(self) -> float:
        return min(s.worst for s in self.served.values())

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
        face_to_sheet_min_mm=_echo_apart_mm(resolved_job, detector_class),
        behind_mm=behind_face_mm(detector_class.housing, resolved_job.conditions),
    )


def _echo_apart_mm(resolved_job: ResolvedJob, detector_class: DetectorClass) -> float:
    """The distance from which a face's echo off the sheet comes back when the gate has closed; 0 without a gate."""
    p = detector_class.parameters
    if not isinstance(p, UltrasonicParameters) or p.gate_us is None:
        return 0.0
    return 0.5e-3 * p.gate_us * resolved_job.conditions.mean_air().sound_speed_m_per_s


def fitting(space: MountingSpace, settings: Settings) -> Flags:
    """Which settings leave room for heads and sheet, (N,). What touches or guides the sheet is not asked."""
    tilts, which = np.unique(settings.tilt_deg, return_inverse=True)
    low, high = np.transpose([space.gap_limits(tilt_deg=tilt) for tilt in tilts.tolist()])[:, which]
    guided = settings.gap_mm < ROOMY_MM if not settings.tilts else False
    return np.asarray(guided | ((settings.gap_mm >= low) & (settings.gap_mm <= high)))


def on_sheet(class_result: ClassResult) -> Flags:
    """At which settings the whole beam meets the sheet, as far as the job tells where its edge is, (N,)."""
    settings = class_result.class_model.settings
    if class_result.resolved_job.job.line.edge_distance_mm is None:
        return np.ones(len(settings.gap_mm), dtype=bool)
    each = zip(settings.gap_mm.tolist(), settings.tilt_deg.tolist(), strict=True)
    return np.array([over_edge_at(class_result, gap_mm=gap, tilt_deg=tilt) is None for gap, tilt in each])


def over_edge_at(class_result: ClassResult, *, gap_mm: float, tilt_deg: float) -> Fact | None:
    """That the beam reaches over the sheet's edge at a setting; None of a class without a beam of sound."""
    if class_result.beam is None:
        return None
    return over_edge(gap_mm=gap_mm, tilt_deg=tilt_deg, space=class_result.space, beam=class_result.beam)


def distributions_at(asked: Sequence[tuple[ClassResult, int, Sequence[int]]]) -> list[dict[int, SignalDistribution]]:
    """Posts, each at a setting with some sheets by their index: every spread, many computed together."""
    each = [
        (class_result.class_model, sheet, setting)
        for class_result, setting, indices in asked
        for i in indices
        for sheet in class_result.resolved_job.in_beam(i)
    ]
    found: list[SignalDistribution] = []
    for start in range(0, len(each), AT_ONCE):
        check_time()
        found += distributions(each[start : start + AT_ONCE])
    following = iter(found)
    return [
        {i: distribution_in_beam([next(following) for _ in class_result.resolved_job.in_beam(i)]) for i in indices}
        for class_result, _, indices in asked
    ]


def build_configured_pair(
    class_result: ClassResult,
    setting: int,
    distributions: Mapping[int, SignalDistribution],
    *,
    choice: Choice | None = None,
    band: tuple[int, int] | None = None,
) -> ConfiguredPair:
    """The pair at a setting for some sheets: in the band that suits them all unless one is given, and free to move as
    far as that allows unless a choice is."""
    resolved_job, class_model, principle = class_result.resolved_job, class_result.class_model, class_result.principle
    signal_tables = {i: _signal_table(distribution, principle) for i, distribution in distributions.items()}
    if band is None:
        receiver = receiver_at(class_model.receiver, setting)
        bands = choose_bands(list(signal_tables.values()), receiver, step=principle.band_step)
        band = int(bands.low[0]), int(bands.high[0])
    if choice is None:
        first = {i: class_result.signal_tables[i] for i in distributions}
        choice = choice_at(
            class_model, first, setting, allowed=class_result.allowed, band=(float(band[0]), float(band[1]))
        )
    reading = _reading(class_result, choice)
    low, high = (np.array([float(edge)]) for edge in band)
    alignment = alignment_of(class_result, choice)
    narrow = too_narrow(class_result, choice, alignment)
    tilt_deg = choice.tilt.nominal if choice.tilt else 0.0
    over = over_edge_at(class_result, gap_mm=choice.gap.nominal, tilt_deg=tilt_deg)
    served = {}
    for i in distributions:
        each = margins(signal_tables[i], low=low, high=high)
        timing = time_line(
            line=resolved_job.job.line,
            controller=resolved_job.job.controller,
            reading=reading,
            overlap_mm=resolved_job.sheets[i].overlap_mm,
            assumed=resolved_job.assumed,
        )
        readings = _readings(class_result.detector_class, timing)
        rates = rates_of(distributions[i], principle.grid, low=band[0], high=band[1], readings=readings)
        misreads = misreads_of(rates)
        no_sheet, single, double = (round(float(m[0]), DECIMALS) for m in each)
        served[i] = Served(
            distribution=distributions[i],
            signal_table=signal_tables[i],
            timing=timing,
            margin=(no_sheet, single, double),
            misreads=misreads,
            judgement=judge(
                rates,
                misreads,
                resolved_job.targets,
                approximate=resolved_job.sheets[i].approximate,
                settable=narrow is None and over is None,
            ),
        )
    return ConfiguredPair(
        class_result=class_result,
        choice=choice,
        low=band[0],
        high=band[1],
        served=served,
        alignment=alignment,
        narrow=narrow,
        over_edge=over,
    )


def alignment_of(class_result: ClassResult, choice: Choice) -> Alignment | None:
    """How well the faces of a pair must be aligned; None for one without a beam of sound."""
    if class_result.beam is None:
        return None
    tilt = choice.tilt.nominal if choice.tilt else 0.0
    return align(gap_mm=choice.gap.nominal, tilt_deg=tilt, beam=class_result.beam)


def slack_of(class_result: ClassResult) -> Slack:
    """What setting the pair by hand leaves of gap and tilt, as near as a search need know it; nothing of heads whose
    bracket gives their gap, and of the tilt of a pair that the line keeps square on."""
    if class_result.beam is None:
        return NO_SLACK
    settings, half_angle_deg = class_result.class_model.settings, degrees(class_result.beam.half_angle_rad)
    return Slack(
        gap_mm=GAP_SET_MM if np.ptp(settings.gap_mm) > 0.0 else 0.0,
        tilt_deg=ALIGNED_HALF_ANGLES * half_angle_deg if settings.tilt_deg.any() else 0.0,
    )


def too_narrow(class_result: ClassResult, choice: Choice, alignment: Alignment | None) -> Fact | None:
    """What of a pair that is aligned by hand cannot be set as exactly as its window asks; None where all can.

    The procedure leaves a face within the angle that costs 1 dB, and a rule a gap within a millimetre, either way: the
    setting keeps that from the ends of its window on both sides. A window that reaches square on has no end there, as a
    pair may lean either way; one that the line keeps square on has no window of tilts. Heads whose gap their bracket
    gives are not set, nor is a pair that is installed.
    """
    if alignment is None or choice.tilt is None or choice.installed:
        return None
    slack, room = slack_of(class_result), choice.room
    if slack.tilt_deg:
        slack = replace(slack, tilt_deg=alignment.angle_deg_1db)
    if room.holds(slack):
        return None
    values: dict[str, Scalar] = {
        "tilt_deg": round(room.tilt_deg, 1),
        "tilt_left_deg": round(slack.tilt_deg, 1),
        "gap_mm": round(room.gap_mm, 1),
        "gap_left_mm": slack.gap_mm,
    }
    return Fact(code="window-too-narrow", values=values)


def without(configured_pair: ConfiguredPair, indices: Sequence[int]) -> ConfiguredPair:
    """The same pair with some sheets taken away."""
    return replace(configured_pair, served={i: s for i, s in configured_pair.served.items() if i not in indices})


def why_not(configured_pair: ConfiguredPair, index: int) -> Fact:
    """Why a pair cannot serve a sheet: the classic failure there is, or else that the line is too fast for it, or
    else the target it misses."""
    served = configured_pair.served[index]
    receiver = receiver_at(configured_pair.class_result.class_model.receiver, configured_pair.choice.setting)
    alone = choose_bands([served.signal_table], receiver, step=configured_pair.class_result.principle.band_step)
    if round(float(alone.worst[0]), DECIMALS) <= 0.0:
        return in_words_of(configured_pair.class_result.resolved_job, cause(served.signal_table, receiver, alone))
    if served.worst <= 0.0:
        return Fact(code="no-common-band", values={"margin_alone": round(float(alone.worst[0]), DECIMALS)})
    if served.timing.fits is False:
        return Fact(
            code="line-too-fast", values=timing_values(served.timing, configured_pair.class_result.resolved_job)
        )
    judgement = served.judgement
    return Fact(
        code="target-missed",
        values={
            "pair": judgement.pair,
            "low_ppm": judgement.misread.low,
            "high_ppm": judgement.misread.high,
            "target_ppm": judgement.target_ppm,
        },
    )


def in_words_of(resolved_job: ResolvedJob, fact: Fact) -> Fact:
    """A classic failure as it is told of a stream: so many sheets where one would be, and one more for two."""
    stream = resolved_job.stream
    if stream is None:
        return fact
    counts = {"fewest": stream.fewest, "most": stream.most, "one_more": stream.most + 1}
    return Fact(code=f"stream-{fact.code}", values={**counts, **fact.values})


def timing_values(timing: Timing, resolved_job: ResolvedJob) -> dict[str, Scalar]:
    """What of the line's clock limits a set-up, and how fast the line runs."""
    limit = timing.limit
    assert limit is not None
    speed, most = resolved_job.job.line.speed_m_per_min, timing.plies_most
    stream = {} if most is None else {"most": most, "one_more": most + 1}
    return {"speed_m_per_min": speed, "limit": limit.code, **limit.values, **stream}


def hopeless(signal_table: SignalTable, bands: Bands, *, setting: int) -> bool:
    """Whether, by its signals with a band of its own, a sheet overlaps by more than half its own spread: no need to
    compute it in full."""
    spread = float(signal_table.single.p99[setting] - signal_table.single.p1[setting])
    return float(bands.worst[setting]) < -0.5 * spread


def unfit(configured_pair: ConfiguredPair) -> list[int]:
    """Sheets that the pair cannot serve, the worst first."""
    served = configured_pair.served
    bad = [i for i in served if served[i].timing.fits is False or served[i].judgement.verdict == "unsuitable"]
    return sorted(
        bad, key=lambda i: (-ORDER[served[i].judgement.verdict], -served[i].judgement.ratio, served[i].worst, -i)
    )


def _signal_table(distribution: SignalDistribution, principle: Principle) -> SignalTable:
    extra = [spread for spread in (distribution.fewer, distribution.other) if spread is not None]
    no_sheet, single, double, *spans = spans_of(
        principle.grid, [distribution.no_sheet, distribution.single, distribution.double, *extra]
    )
    fewer = None if distribution.fewer is None else spans.pop(0)
    return SignalTable(no_sheet=no_sheet, single=widest([single, *spans]), double=double, fewer=fewer)


def _reading(class_result: ClassResult, choice: Choice) -> Reading:
    p, beam, line = class_result.detector_class.parameters, class_result.beam, class_result.resolved_job.job.line
    if beam is None:
        width = class_result.detector_class.housing.width_mm
        return Reading(interval_ms=p.reading_interval_ms, response_ms=p.response_ms, spot_mm=width)
    gap = choice.gap.nominal
    footprint = footprint_on_sheet(
        distance_mm=0.5 * gap,
        tilt_deg=choice.tilt.nominal if choice.tilt else 0.0,
        beam=beam,
        flutter_mm=class_result.resolved_job.conditions.flutter_mm,
    )
    taking_turns = 1
    if line.lanes > 1:
        width = class_result.detector_class.housing.width_mm
        neighbours = 2 if line.lanes > 2 else 1
        least = least_pitch_mm(gap_mm=gap, beam=beam, body_diameter_mm=width, neighbours=neighbours)
        taking_turns = turns(lanes=line.lanes, pitch_mm=line.lane_pitch_mm, least_mm=least)
    return Reading(
        interval_ms=p.reading_interval_ms,
        response_ms=p.response_ms,
        spot_mm=footprint.along_mm,
        turns=taking_turns,
    )


def _readings(detector_class: DetectorClass, timing: Timing) -> Readings:
    """Readings in a sheet and in a space; where the line is not known, as many as one decision takes."""
    p = detector_class.parameters
    run = max(1, ceil(p.response_ms / p.reading_interval_ms))
    single, double = timing.readings_per_sheet, timing.readings_per_double
    return Readings(
        single=run if single is None else single,
        double=run if double is None else double,
        no_sheet=run if timing.readings_per_space is None else timing.readings_per_space,
        run=run,
    )
