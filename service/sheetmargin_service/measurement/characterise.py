"""What bench readings tell of an ultrasonic pair: the parameters of its class, each with its scatter.

A reading is a level in dB on any scale that stays: 20 lg of an amplitude. With C the level of the open path at the
reference gap, an attenuation is C less a level, so everything follows from C. The open path tells it, and so does a
sheet whose attenuation is computed; where the receiver is in overload without a sheet, as most are, only sheets do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from statistics import fmean, median, stdev
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from sheetmargin_service.acoustics.air import Air, absorption_db_per_m
from sheetmargin_service.acoustics.beam import open_path_db
from sheetmargin_service.detectors.filling import fill
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import pair_at
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.tables import Where, build

Array = NDArray[np.float64]
State = Literal["open", "sheet", "blocked", "silent"]
Gain = Literal["least", "greatest"]
Limit = Literal["top", "bottom"]
STATES: tuple[State, ...] = get_args(State)
GAINS: tuple[Gain, ...] = get_args(Gain)
LIMITS: tuple[Limit, ...] = get_args(Limit)

CLEAR_DB = 15.0
"""A sheet so far above the blocked path is moved by it by at most 1.5 dB, whatever the phase (20 lg(1 + 10^-0.75))."""
APART_DB = 6.0
"""Levels of the open path that differ by more do not belong to one pair. The library knows the sheets meant for a bench
to 2 or 3 dB (a choice)."""
END_DB = 1.0
"""Readings of one end of a scale that differ by more are not of one end (a choice)."""
RADII_MM = (1.0, 40.0)
RADIUS_PCT = 25.0
"""A face whose radius is not known better than that is not told by the readings (a choice)."""
MANY = 0.95
"""Share that the half widths hold."""


class CharacteriseError(ValueError):
    """Readings from which no class follows: which, what is wrong, what would be right."""


@dataclass(frozen=True, kw_only=True)
class PairReading:
    """One reading of a pair. `line` names it in errors.

    States: `open`, nothing between the faces; `sheet`, one sheet of known kind; `blocked`, something that lets nothing
    through but does not close the way round; `silent`, the emitter off. `limit`: the receiver stood at the top or the
    bottom of its scale, so that there may have been more, or less.
    """

    line: str
    state: State
    level_db: float
    gap_mm: float
    tilt_deg: float = 0.0
    gain: Gain = "least"
    limit: Limit | None = None
    sheet: Sheet | None = None
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Derived:
    """A value with its half width (95 %, from scatter; None for a single reading) and what it was derived from."""

    value: float
    half_width: float | None
    source: str


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """Mean of some values, with its half width."""

    mean: float
    half_width: float | None
    count: int


@dataclass(frozen=True, kw_only=True)
class _Open:
    """What one reading says of the level of the open path at the reference gap."""

    reading: PairReading
    level_db: float


def characterise(
    readings: Sequence[PairReading], *, given: Mapping[str, Any], air: Air, among: Sequence[DetectorClass]
) -> dict[str, Derived]:
    """Parameters that the readings tell, by name. `given` are those known already, the frequency among them; what the
    levels of a sheet need besides is taken from the nearest class of `among`.

    Raises CharacteriseError for readings that cannot be of one pair, or that tell no open path.
    """
    derived = _gaps(readings, given)
    known = {**given, **{name: one.value for name, one in derived.items()}}
    if "face_radius_mm" not in given and (radius := _radius(readings, known, air)) is not None:
        derived["face_radius_mm"] = radius
        known["face_radius_mm"] = radius.value
    filled = fill("ultrasonic", known, width_mm=None, among=among).values
    pair = build(UltrasonicParameters, filled, where=Where("the pair"))
    at = {gain: _open_level(readings, gain, pair, air) for gain in GAINS}
    step = _gain_step(readings)
    least, greatest = _both(at["least"], at["greatest"], step)
    if least is None and greatest is None:
        raise CharacteriseError(
            "No reading tells the level of the open path: expected `open` at some gap that is not at the top of the "
            f"scale, or a `sheet` of known material at least {CLEAR_DB:g} dB above the blocked path."
        )
    levels = {"least": least, "greatest": greatest}
    derived |= _floors(readings, levels)
    derived |= _scale(readings, least)
    if step is not None or (least is not None and greatest is not None):
        derived["gain_range_db"] = _gain_range(step, least, greatest)
    return derived


def _gaps(readings: Sequence[PairReading], given: Mapping[str, Any]) -> dict[str, Derived]:
    """The gaps of the bench, where nothing else is known of the class's."""
    gaps = [reading.gap_mm for reading in readings]
    usual = max(sorted(set(gaps)), key=gaps.count)
    found = {
        "gap_min_mm": Derived(value=min(gaps), half_width=None, source="the least gap that was read"),
        "gap_max_mm": Derived(value=max(gaps), half_width=None, source="the greatest gap that was read"),
        "reference_gap_mm": Derived(value=usual, half_width=None, source="the gap that most readings are of"),
    }
    found = {name: one for name, one in found.items() if name not in given}
    if "gap_min_mm" in found and "gap_max_mm" in found and min(gaps) == max(gaps):
        raise CharacteriseError(
            "All readings are of one gap: expected some at the least and the greatest that the pair is for, or "
            "gap_min_mm and gap_max_mm in the draft."
        )
    return found


def _radius(readings: Sequence[PairReading], known: Mapping[str, Any], air: Air) -> Derived | None:
    """Radius of the face from how the open path falls with the gap; None where that does not tell it."""
    free = [one for one in readings if one.state == "open" and one.limit is None]
    keys = sorted({(one.gain, one.gap_mm) for one in free})
    if len({gap for _, gap in keys}) < 3:
        return None
    gap_mm = np.array([one.gap_mm for one in free])
    level_db = np.array([one.level_db for one in free])
    gains = np.array([one.gain == "greatest" for one in free])

    def residuals(radius_mm: float) -> Array:
        rest: Array = level_db - _open_path(gap_mm, known, air, radius_mm=radius_mm)
        for here in (gains, ~gains):
            if here.any():
                rest[here] -= rest[here].mean()
        return rest

    def squares(logarithm: float) -> float:
        return float(np.sum(residuals(math.exp(logarithm)) ** 2))

    # Near a face the path ripples with the radius: the deepest of several valleys is meant.
    nodes = np.linspace(math.log(RADII_MM[0]), math.log(RADII_MM[1]), 60)
    best = int(np.argmin([squares(float(node)) for node in nodes]))
    bounds = (float(nodes[max(0, best - 1)]), float(nodes[min(len(nodes) - 1, best + 1)]))
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(squares, bounds=bounds, method="bounded")
    centre, free_count = float(found.x), len(free) - 1 - len(set(gains.tolist()))
    if free_count < 1 or best in (0, len(nodes) - 1):
        return None
    h = 0.02
    curvature = (squares(centre + h) - 2.0 * float(found.fun) + squares(centre - h)) / h**2
    if curvature <= 0.0:
        return None
    # Readings are rarely good to less than 0.1 dB, however well they happen to agree (a choice).
    variance = max(float(found.fun) / free_count, 0.01)
    relative = float(stdtrit(free_count, 0.5 + 0.5 * MANY)) * math.sqrt(2.0 * variance / curvature)
    if relative > 0.01 * RADIUS_PCT:
        return None
    radius = math.exp(centre)
    return Derived(value=radius, half_width=radius * relative, source=f"the open path at {len(keys)} gaps")


def _open_path(gap_mm: ArrayLike, known: Mapping[str, Any], air: Air, *, radius_mm: float) -> Array:
    """Open path relative to the one at the reference gap, dB."""
    frequency_hz = float(known["frequency_hz"])
    return open_path_db(
        wavenumber_per_m=2.0 * math.pi * frequency_hz / air.sound_speed_m_per_s,
        radius_m=radius_mm * 1e-3,
        gap_m=np.asarray(gap_mm) * 1e-3,
        reference_gap_m=float(known["reference_gap_mm"]) * 1e-3,
        absorption_db_per_m=float(absorption_db_per_m(frequency_hz=frequency_hz, air=air)),
    )


def _open_level(readings: Sequence[PairReading], gain: Gain, pair: UltrasonicParameters, air: Air) -> Estimate | None:
    """Level of the open path at the reference gap and one gain; None where nothing tells it."""
    here = [one for one in readings if one.gain == gain]
    floors = [one.level_db for one in here if one.state in ("blocked", "silent")]
    clear_db = _power_mean(floors) + CLEAR_DB if floors else -math.inf
    told = []
    for one in here:
        if one.limit is None and (one.state == "open" or (one.state == "sheet" and one.level_db >= clear_db)):
            open_db = float(_open_path(one.gap_mm, vars(pair), air, radius_mm=pair.face_radius_mm))
            told.append(_Open(reading=one, level_db=one.level_db + _attenuation(one, pair, air) - open_db))
    if len(told) > 1:
        _check_together(told)
    return _mean([one.level_db for one in told]) if told else None


def _attenuation(reading: PairReading, pair: UltrasonicParameters, air: Air) -> float:
    """Attenuation of the reading's sheet as the library has it, standing waves averaged; 0 without one."""
    if reading.sheet is None:
        return 0.0
    levels = levels_of(reading.sheet, pair_at(pair, air, gap_mm=(reading.gap_mm,), tilt_deg=(reading.tilt_deg,)))
    nominal = replace(levels, model=levels.model.first(1))
    return float(nominal.single().attenuation_db[0, 0, 0])


def _check_together(told: Sequence[_Open]) -> None:
    """CharacteriseError names the reading that lies farthest from the others, if it lies too far."""
    far = [(one.level_db - median([other.level_db for other in told if other is not one]), one.reading) for one in told]
    most, reading = max(far, key=lambda pair: (abs(pair[0]), pair[1].state == "sheet"))
    if abs(most) > APART_DB:
        what = f"one sheet of {reading.name}" if reading.sheet is not None else "the open path at this gap"
        raise CharacteriseError(
            f"{reading.line}: {reading.level_db:g} dB is {abs(most):.1f} dB {'more' if most > 0 else 'less'} than "
            f"{what} should read beside the others; expected within {APART_DB:g} dB. Is it what it is said to be, not "
            "at the top of the scale, and is the level 20 lg of an amplitude?"
        )


def _gain_step(readings: Sequence[PairReading]) -> Estimate | None:
    """What the greatest gain reads above the least, from places that were read at both."""

    def line(one: PairReading) -> tuple[str, float, float, str]:
        return one.state, one.gap_mm, one.tilt_deg, one.name

    free = sorted((one for one in readings if one.limit is None and one.state != "silent"), key=line)
    steps = []
    for _, group in groupby(free, key=line):
        by_gain: dict[str, list[float]] = {gain: [] for gain in GAINS}
        for one in group:
            by_gain[one.gain].append(one.level_db)
        if all(by_gain.values()):
            steps.append(fmean(by_gain["greatest"]) - fmean(by_gain["least"]))
    if steps and fmean(steps) < 0.0:
        raise CharacteriseError(
            f"The greatest gain reads {-fmean(steps):.1f} dB less than the least: expected more. Are they interchanged?"
        )
    return _mean(steps) if steps else None


def _both(
    least: Estimate | None, greatest: Estimate | None, step: Estimate | None
) -> tuple[Estimate | None, Estimate | None]:
    """The open path at both gains; the one that was not told follows from the other and the step between them."""
    if step is not None and least is not None and greatest is None:
        greatest = Estimate(mean=least.mean + step.mean, half_width=_wide(least, step), count=least.count)
    elif step is not None and greatest is not None and least is None:
        least = Estimate(mean=greatest.mean - step.mean, half_width=_wide(greatest, step), count=greatest.count)
    return least, greatest


def _gain_range(step: Estimate | None, least: Estimate | None, greatest: Estimate | None) -> Derived:
    if step is not None:
        source = f"{_readings(step.count, 'place')} read at both gains"
        return Derived(value=step.mean, half_width=step.half_width, source=source)
    assert least is not None
    assert greatest is not None
    source = "the open path as told at either gain"
    return Derived(value=max(0.0, greatest.mean - least.mean), half_width=_wide(greatest, least), source=source)


def _floors(readings: Sequence[PairReading], levels: Mapping[str, Estimate | None]) -> dict[str, Derived]:
    """Noise from silence, and bypass from what a blocked path has more; each at the greater gain that tells it."""
    found: dict[str, Derived] = {}
    for gain in GAINS:  # the greatest last: noise stands farther above the receiver's own scale there
        level = levels[gain]
        if level is None:
            continue
        noise = _floor_power([one for one in readings if (one.state, one.gain) == ("silent", gain)])
        if noise is not None:
            found["noise_db"] = Derived(
                value=level.mean - noise.mean,
                half_width=_wide(level, noise),
                source=f"{_readings(noise.count)} with the emitter off, at the {gain} gain",
            )
        blocked = _floor_power([one for one in readings if (one.state, one.gain) == ("blocked", gain)])
        if blocked is not None:
            found["bypass_db"] = _bypass(blocked, noise, level, gain)
    return found


def _floor_power(readings: Sequence[PairReading]) -> Estimate | None:
    """Mean power of readings of a floor, in dB, with the scatter of their levels; None where most are at an end.

    Where some are at the bottom of the scale, the median tells the mean: the power of Gaussian noise is exponentially
    distributed, whose median is ln 2 of its mean.
    """
    free = [one.level_db for one in readings if one.limit is None]
    if 2 * len(free) <= len(readings) or any(one.limit == "top" for one in readings):
        return None
    scatter = _mean(free)
    if len(free) < len(readings):
        centre = median([one.level_db for one in readings]) - 10.0 * math.log10(math.log(2.0))
    else:
        centre = _power_mean(free)
    return Estimate(mean=centre, half_width=scatter.half_width, count=len(readings))


def _bypass(blocked: Estimate, noise: Estimate | None, level: Estimate, gain: Gain) -> Derived:
    source = f"{_readings(blocked.count)} of the blocked path, at the {gain} gain"
    power = 10.0 ** (0.1 * blocked.mean)
    if noise is None:
        source += "; noise is in it"
    elif blocked.mean < noise.mean + _chance_db(blocked.count, noise.count):
        source += "; no louder than silence, so that it is that much at most"
    else:
        power -= 10.0 ** (0.1 * noise.mean)
    return Derived(value=level.mean - 10.0 * math.log10(power), half_width=_wide(level, blocked), source=source)


def _chance_db(*counts: int) -> float:
    """By how much two means of so many powers of noise may differ by chance (95 %): each power is exponentially
    distributed, so that its standard deviation is its mean."""
    return float(ndtri(0.5 + 0.5 * MANY)) * 10.0 / math.log(10.0) * math.sqrt(sum(1.0 / count for count in counts))


def _scale(readings: Sequence[PairReading], least: Estimate | None) -> dict[str, Derived]:
    """Overload and span, from readings at the ends of the scale."""
    ends = {limit: _end(readings, limit) for limit in LIMITS}
    top, bottom = ends["top"], ends["bottom"]
    found = {}
    if top is not None and least is not None:
        source = f"{_readings(top.count)} at the top of the scale, and the open path at the least gain"
        found["overload_db"] = Derived(value=least.mean - top.mean, half_width=_wide(least, top), source=source)
    if top is not None and bottom is not None:
        if top.mean <= bottom.mean:
            raise CharacteriseError("The top of the scale lies below its bottom: expected it above.")
        source = f"{_readings(top.count + bottom.count)} at the ends of the scale"
        found["span_db"] = Derived(value=top.mean - bottom.mean, half_width=_wide(top, bottom), source=source)
    return found


def _end(readings: Sequence[PairReading], limit: Limit) -> Estimate | None:
    there = [one for one in readings if one.limit == limit]
    if not there:
        return None
    centre = median([one.level_db for one in there])
    for one in there:
        if abs(one.level_db - centre) > END_DB:
            raise CharacteriseError(
                f"{one.line}: {one.level_db:g} dB is said to be the {limit} of the scale, others are {centre:g} dB; "
                f"expected one level, within {END_DB:g} dB."
            )
    return _mean([one.level_db for one in there])


def _mean(values: Sequence[float]) -> Estimate:
    count = len(values)
    if count < 2:
        return Estimate(mean=fmean(values), half_width=None, count=count)
    width = float(stdtrit(count - 1, 0.5 + 0.5 * MANY)) * stdev(values) / math.sqrt(count)
    return Estimate(mean=fmean(values), half_width=width, count=count)


def _power_mean(levels_db: Sequence[float]) -> float:
    return 10.0 * math.log10(fmean([10.0 ** (0.1 * level) for level in levels_db]))


def _wide(*parts: Estimate) -> float | None:
    """Half width of a sum or difference; None where one part is a single reading."""
    widths = [part.half_width for part in parts]
    return None if None in widths else math.hypot(*(width for width in widths if width is not None))


def _readings(count: int, what: str = "reading") -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
