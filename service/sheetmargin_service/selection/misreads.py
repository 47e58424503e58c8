"""How often a state is read as another, per million, with what is not known as an interval.

A decision needs `run` readings in a row. Within one sheet the trapped air, the mass and the set-up stay; the noise of each
reading is its own. So for each steady signal the chance of a run is computed from the chance of one reading, and then
averaged over the steady signals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.noise import upper_share
from sheetmargin_service.prediction.principles.base import Detail, Spread
from sheetmargin_service.selection.answer import Misread, Misreads

Array = NDArray[np.float64]
FLOOR_PPM = 1.0
"""Nothing rarer than this is claimed: so far out, the shapes of the distributions are a guess."""
_DIRECT = 128
"""Readings up to which runs are counted one by one; beyond, the chance of no run falls by a steady factor."""


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
    p = np.clip(one, 0.0, 1.0)
    start = p**run
    none = [np.ones_like(p)] * run + [1.0 - start]
    for n in range(run + 1, min(readings, _DIRECT + run) + 1):
        none.append(none[n - 1] - (1.0 - p) * start * none[n - run - 1])
    last = none[-1]
    if readings >= len(none):
        ratio = np.where(none[-2] > 0.0, last / np.where(none[-2] > 0.0, none[-2], 1.0), 0.0)
        last = last * ratio ** (readings - len(none) + 1)
    return np.clip(1.0 - last, 0.0, 1.0)


def misreads_of(detail: Detail, grid: SignalGrid, *, low: float, high: float, readings: Readings) -> Misreads:
    """The six pairs for a band `low` to `high` of one sheet."""

    def rate(spread: Spread, count: int, *, read_as: str) -> Misread:
        below, above = _chances(spread, grid, low=low, high=high)
        outside = run_chance(one=below, readings=count, run=readings.run), run_chance(
            one=above, readings=count, run=readings.run
        )
        if read_as == "single":
            if spread is detail.no_sheet:
                chance = run_chance(one=1.0 - below - above, readings=count, run=readings.run)
            else:
                chance = np.clip(1.0 - outside[0] - outside[1], 0.0, 1.0)
        else:
            chance = outside[0] if read_as == "no_sheet" else outside[1]
        return _interval(spread, chance)

    single, double, space = readings.single, readings.double, readings.no_sheet
    return Misreads(
        single_as_double=rate(detail.single, single, read_as="double"),
        single_as_no_sheet=rate(detail.single, single, read_as="no_sheet"),
        double_as_single=rate(detail.double, double, read_as="single"),
        double_as_no_sheet=rate(detail.double, double, read_as="no_sheet"),
        no_sheet_as_single=rate(detail.no_sheet, space, read_as="single"),
        no_sheet_as_double=rate(detail.no_sheet, space, read_as="double"),
    )


def _chances(spread: Spread, grid: SignalGrid, *, low: float, high: float) -> tuple[Array, Array]:
    """Chance of one reading below and above the band, by the steady signal, (count,) each."""
    if spread.noise is None:
        return 1.0 - upper_share(grid, low), upper_share(grid, high)
    return 1.0 - spread.noise.above(low), spread.noise.above(high)


def _interval(spread: Spread, chance: Array) -> Misread:
    by_variant = 1e6 * (spread.variants @ chance)
    estimate = float(spread.weights @ by_variant)
    return Misread(
        estimate=max(estimate, FLOOR_PPM),
        low=max(float(by_variant.min()), FLOOR_PPM),
        high=max(float(by_variant.max()), FLOOR_PPM),
        floored=estimate < FLOOR_PPM,
    )
