"""How often a state is read as another, per million, with what is not known as an interval.

A decision needs `run` readings in a row. Within one sheet the trapped air, the mass and the set-up stay; the noise of
each reading is its own. So for each steady signal the chance of a run is computed from the chance of one reading, and
then averaged over the steady signals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.noise import Noise, above
from sheetmargin_service.prediction.principles.base import Detail, Spread
from sheetmargin_service.selection.answer import Misread, Misreads

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
        ratio = np.where(none[-2] > 0.0, last / np.where(none[-2] > 0.0, none[-2], 1.0), 0.0)
        last = last * ratio ** (readings - len(none) + 1)
    result[open_] = np.clip(1.0 - last, 0.0, 1.0)
    return result


def misreads_of(detail: Detail, grid: SignalGrid, *, low: float, high: float, readings: Readings) -> Misreads:
    """The six pairs for a band `low` to `high` of one sheet.

    Of a sheet of several plies, `no_sheet_as_single` is the worse of nothing and a ply too few read as right.
    """
    known: dict[int, tuple[Array, Array]] = {}

    def chances(noise: Noise | None) -> tuple[Array, Array]:
        if id(noise) not in known:
            known[id(noise)] = _chances(noise, grid, low=low, high=high)
        return known[id(noise)]

    def outside(spread: Spread, count: int) -> tuple[Array, Array]:
        low_chance, high_chance = chances(spread.noise)
        return (
            run_chance(one=low_chance, readings=count, run=readings.run),
            run_chance(one=high_chance, readings=count, run=readings.run),
        )

    single_below, single_above = outside(detail.single, readings.single)
    double_below, double_above = outside(detail.double, readings.double)
    _, space_above = outside(detail.no_sheet, readings.no_sheet)
    low_chance, high_chance = chances(detail.no_sheet.noise)
    space_within = run_chance(one=1.0 - low_chance - high_chance, readings=readings.no_sheet, run=readings.run)
    no_sheet_as_single = _interval(detail.no_sheet, space_within)
    if detail.fewer is not None:
        fewer_below, fewer_above = outside(detail.fewer, readings.single)
        fewer_as_single = _interval(detail.fewer, np.clip(1.0 - fewer_below - fewer_above, 0.0, 1.0))
        no_sheet_as_single = max(no_sheet_as_single, fewer_as_single, key=lambda m: (m.high or 0.0, m.estimate or 0.0))
    return Misreads(
        single_as_double=_interval(detail.single, single_above),
        single_as_no_sheet=_interval(detail.single, single_below),
        double_as_single=_interval(detail.double, np.clip(1.0 - double_below - double_above, 0.0, 1.0)),
        double_as_no_sheet=_interval(detail.double, double_below),
        no_sheet_as_single=no_sheet_as_single,
        no_sheet_as_double=_interval(detail.no_sheet, space_above),
    )


def _chances(noise: Noise | None, grid: SignalGrid, *, low: float, high: float) -> tuple[Array, Array]:
    """Chance of one reading below and above the band, by the steady signal, (count, PARTS) each."""
    return 1.0 - above(noise, grid, low), above(noise, grid, high)


def _interval(spread: Spread, chance: Array) -> Misread:
    """From the chance (count, PARTS) by the steady signal."""
    by_variant = 1e6 * (spread.variants @ chance.mean(axis=1))
    estimate = float(spread.weights @ by_variant)
    return Misread(
        estimate=max(estimate, FLOOR_PPM),
        low=max(float(by_variant.min()), FLOOR_PPM),
        high=max(float(by_variant.max()), FLOOR_PPM),
        floored=estimate < FLOOR_PPM,
    )
