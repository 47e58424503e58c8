"""Tilts of a pair: those that are searched, the greatest there is, and how a level runs over them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.beam import half_angle_rad

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

STEP_DEG = 5.0
"""Between two tilts that are searched; and how far off the two neighbours lie that tell how a level runs at a tilt."""
GRAZING_DEG = 70.0
"""From this angle to the normal on, sound grazes the sheet and counts less (`beam.grazing_taper`)."""
HALF_ANGLES = 3.0
"""So many half angles (-3 dB, one way) off its axis the main lobe of a beam is over (a circular piston's at 2.4), and
the rest is 17 dB down each way."""
_SAME_DEG = 1e-6
"""Two tilts nearer than this are one: they come from degrees by radians."""


@lru_cache(maxsize=1024)
def greatest_tilt_deg(*, frequency_hz: float, face_radius_mm: float) -> float:
    """The greatest whole step at which the beam, as wide as `HALF_ANGLES`, meets a sheet at no more than the angle from
    which sound grazes it; one step of a beam that is too wide for that at any tilt."""
    wavenumber = 2.0 * np.pi * frequency_hz / humid_air().sound_speed_m_per_s
    try:
        half_angle = half_angle_rad(wavenumber_per_m=wavenumber, radius_m=1e-3 * face_radius_mm)
    except ValueError:  # a face so small sounds all round
        return STEP_DEG
    room_deg = GRAZING_DEG - HALF_ANGLES * float(np.degrees(half_angle))
    return STEP_DEG * max(1, int((room_deg + _SAME_DEG) // STEP_DEG))


def searched_tilts_deg(*, frequency_hz: float, face_radius_mm: float) -> Array:
    """The tilts of a search: steps from square on to the greatest."""
    greatest = greatest_tilt_deg(frequency_hz=frequency_hz, face_radius_mm=face_radius_mm)
    return np.asarray(STEP_DEG * np.arange(round(greatest / STEP_DEG) + 1), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class Run:
    """Where to read how a level runs over the tilt, for each of T tilts: three places a step apart, by their indices,
    and how far past the middle one the tilt lies. `known`: that all three are there."""

    lower: Indices
    middle: Indices
    upper: Indices
    past_deg: Array
    known: NDArray[np.bool_]

    def moved_by(self, settings: int) -> Run:
        """The same so many settings further on."""
        return replace(self, lower=self.lower + settings, middle=self.middle + settings, upper=self.upper + settings)

    def slope_and_curvature(self, level: Array) -> tuple[Array, Array]:
        """First and second derivative by the degree, (T,), of a level (..., T) of the parabola through three places."""
        low, middle, high = (level[..., at] for at in (self.lower, self.middle, self.upper))
        curvature = (high - 2.0 * middle + low) / STEP_DEG**2
        return 0.5 * (high - low) / STEP_DEG + self.past_deg * curvature, curvature


def run_over(tilt_deg: Array) -> Run:
    """Where to read how a level runs at each of some rising tilts (T,), from themselves.

    The place below square on is its mirror image above: a pair that leans one way hears what it hears leaning the other
    way. Next to the greatest tilt the three places stay where they are. So what is read is continuous, whatever other
    tilts there are.
    """
    middle = _middles(tilt_deg, last_deg=float(tilt_deg[-1]))
    lower, has_lower = _nearest(tilt_deg, np.abs(middle - STEP_DEG))
    at, has_middle = _nearest(tilt_deg, middle)
    upper, has_upper = _nearest(tilt_deg, middle + STEP_DEG)
    known = has_lower & has_middle & has_upper
    return Run(lower=lower, middle=at, upper=upper, past_deg=tilt_deg - tilt_deg[at], known=known)


def run_over_settings(tilts_deg: Sequence[Array], gaps: Sequence[int]) -> Run:
    """The same for the settings of some pairs one after another, each with so many gaps (gap major, tilt minor)."""
    runs, first = [], 0
    for tilt_deg, count in zip(tilts_deg, gaps, strict=True):
        run, size = run_over(tilt_deg), len(tilt_deg)
        runs += [run.moved_by(first + size * gap) for gap in range(count)]
        first += size * count
    return Run(**{f.name: np.concatenate([getattr(run, f.name) for run in runs]) for f in fields(Run)})


def with_neighbours(tilt_deg: Sequence[float], *, greatest_deg: float) -> tuple[tuple[float, ...], Indices]:
    """Some rising tilts with all that `run_over` asks for, and where they themselves are among these."""
    asked = np.asarray(tilt_deg, dtype=np.float64)
    middle = _middles(asked, last_deg=greatest_deg)
    others = np.round(np.concatenate([np.abs(middle - STEP_DEG), middle, middle + STEP_DEG]), 9)
    # Tilts that differ by a rounding would be computed twice.
    others = others[~_nearest(asked, others)[1]]
    every = np.unique(np.concatenate([asked, others]))
    return tuple(every.tolist()), np.searchsorted(every, asked)


def _middles(tilt_deg: Array, *, last_deg: float) -> Array:
    return np.minimum(tilt_deg, max(last_deg - STEP_DEG, 0.0))


def _nearest(tilt_deg: Array, wanted: Array) -> tuple[Indices, NDArray[np.bool_]]:
    """The place of each wanted tilt among rising ones, and whether it is there."""
    after = np.clip(np.searchsorted(tilt_deg, wanted), 1, max(len(tilt_deg) - 1, 1))
    before = after - 1
    after = np.minimum(after, len(tilt_deg) - 1)
    at = np.where(np.abs(tilt_deg[after] - wanted) < np.abs(tilt_deg[before] - wanted), after, before)
    return at, np.abs(tilt_deg[at] - wanted) < _SAME_DEG
