"""How often a state is read as another, per million, with what is not known as an interval.

A decision needs `run` readings in a row. Within one sheet the trapped air, the mass and the set-up stay; the noise of
each reading is its own. So for each steady signal the chance of a run is computed from the chance of one reading, and
then averaged over the steady signals.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Misread, Misreads

from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.noise import Noise, above
from sheetmargin_service.prediction.principles.base import Detail, Spread

Array = NDArray[np.float64]
FLOOR_PPM = 1.0
"""Nothing rarer than this is claimed: so far out, the shapes of the distributions are a guess."""
_DIRECT = 128
"""Readings up to which runs are counted one by one; beyond, the chance of no run falls by a steady factor."""
_NEVER = 1e-12
"""A reading this rare does not happen, one this sure does."""


@dataclass(frozen=True, kw_only=True)
class Readings:
    """Readings while one sheet, one double and one space passes, and how many in a row decide."""

    single: int
    double: int
    no_sheet: int
    run: int


def run_chance(*, one: Array, readings: int, run: int) -> Array:
    """Chance of at least `run` successes in a row among `readings` independent ones, each of chance `one` (any shape).

    With q_n the chance of no run among n: q_n = q_(n-1) - (1 - p) p^run q_(n-run-1) (Feller, An Introduction to
    Probability Theory and Its Applications, volume 1, section XIII.7).
    """
    if readings < run:
        return np.zeros_like(one)
    result = (one > 0.5).astype(np.float64)
    open_ = (one > _NEVER) & (one < 1.0 - _NEVER)
    p = one[open_]
    start = p**run
    none = [np.ones_like(p)] * run + [1.0 - start]
    for n in range(run + 1, min(readings, _DIRECT + run) + 1):
        none.append(none[n - 1] - (1.0 - p) * start * none[n - run - 1])
    last = none[-1]
    if readings >= len(none):
        # Where a run is all but sure to come, what is left is rounding, and so would be the factor.
        ratio = np.clip(np.where(none[-2] > 0.0, last / np.where(none[-2] > 0.0, none[-2], 1.0), 0.0), 0.0, 1.0)
        last = last * ratio ** (readings - len(none) + 1)
    result[open_] = np.clip(1.0 - last, 0.0, 1.0)
    return result


def misreads_of(detail: Detail, grid: SignalGrid, *, low: float, high: float, readings: Readings) -> Misreads:
    """The six pairs for a band `low` to `high` of one sheet.

    Of plies that are counted, `no_sheet_as_single` is the worse of nothing and a ply too few read as right; of a
    stream, what is correct is told by the number of sheets that is read wrongly more often.
    """
    noise, count = detail.single.noise, readings
    single_chance = _outside(noise, grid, low=low, high=high, readings=count.single, run=count.run)
    double_chance = _outside(noise, grid, low=low, high=high, readings=count.double, run=count.run)
    space_chance = _outside(noise, grid, low=low, high=high, readings=count.no_sheet, run=count.run)
    single_as_no_sheet, single_as_double = _intervals(detail.single, single_chance[:2])
    double_as_no_sheet, double_as_single = _intervals(detail.double, _or_neither(double_chance))
    no_sheet_as_single, no_sheet_as_double = _intervals(detail.no_sheet, space_chance[:0:-1])
    if detail.fewer is not None:
        _, fewer_as_single = _intervals(detail.fewer, _or_neither(single_chance))
        no_sheet_as_single = max(no_sheet_as_single, fewer_as_single, key=_how_often)
    if detail.other is not None:
        other_as_no_sheet, other_as_double = _intervals(detail.other, single_chance[:2])
        single_as_no_sheet = max(single_as_no_sheet, other_as_no_sheet, key=_how_often)
        single_as_double = max(single_as_double, other_as_double, key=_how_often)
    return Misreads(
        single_as_double=single_as_double,
        single_as_no_sheet=single_as_no_sheet,
        double_as_single=double_as_single,
        double_as_no_sheet=double_as_no_sheet,
        no_sheet_as_single=no_sheet_as_single,
        no_sheet_as_double=no_sheet_as_double,
    )


def _how_often(misread: Misread) -> tuple[float, float]:
    return misread.high or 0.0, misread.estimate or 0.0


@lru_cache(maxsize=64)
def _outside(noise: Noise | None, grid: SignalGrid, *, low: float, high: float, readings: int, run: int) -> Array:
    """Chance (3, count) of a run of readings below a band, above it and within it, by the steady signal."""
    below, beyond = 1.0 - above(noise, grid, low), above(noise, grid, high)
    one = np.stack([below, beyond, 1.0 - below - beyond])
    chance = np.asarray(run_chance(one=one, readings=readings, run=run).mean(axis=2))
    chance.setflags(write=False)
    return chance


def _or_neither(outside: Array) -> Array:
    """Chance (2, count) of a run below the band, and of none on either side, from that of runs outside it."""
    return np.stack([outside[0], np.clip(1.0 - outside[0] - outside[1], 0.0, 1.0)])


def _intervals(spread: Spread, chances: Array) -> list[Misread]:
    """From chances (2, count) by the steady signal."""
    by_variant = 1e6 * (spread.variants @ chances.T)
    each = zip(spread.weights @ by_variant, by_variant.min(axis=0), by_variant.max(axis=0), strict=True)
    return [
        Misread(
            estimate=max(float(estimate), FLOOR_PPM),
            low=max(float(low), FLOOR_PPM),
            high=max(float(high), FLOOR_PPM),
            floored=bool(estimate < FLOOR_PPM),
        )
        for estimate, low, high in each
    ]
