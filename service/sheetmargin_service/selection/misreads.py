"""How often a state is read as another, per million: a rate for each draw of what is not known of the job.

A decision needs `run` readings in a row. Within one sheet the trapped air, the mass and the set-up stay; the noise of
each reading is its own. So for each steady signal the chance of a run is computed from the chance of one reading, and
then averaged over the steady signals of all events.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf, isinf

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from sheetmargin.contract.answer import Misread, Misreads

from sheetmargin_service.principles.draws import DRIFTS, over_draws, weighted_quantiles
from sheetmargin_service.principles.noise import Floor, Noise, above
from sheetmargin_service.principles.protocol import SignalDistribution, Spread
from sheetmargin_service.principles.signal_grid import LEAST_NARROWED, SignalGrid

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
Rates = Mapping[str, Array]
"""Rates of pairs of states, (J or 1, drifts) each."""
FLOOR_PPM = 1.0
"""Nothing rarer than this is claimed: so far out, the shapes of the distributions are a guess."""
GRID_ADDS = 1.0 / 6.0 + 1.0 / 6.0 + 1.0 / 12.0 + 1.0 / 12.0
"""Variance in steps squared that a grid adds on the mean: values and drifts shared between neighbouring bins, chances
and what blurs them taken over whole bins."""
_DIRECT = 128
"""Readings up to which runs are counted one by one; beyond, the chance of no run falls by a steady factor."""
_RAREST = 1e-9
"""Rates per million below this are not told apart."""
NO_EVENT = 1e-6
"""An event this rare in any draw is not asked about a floor that moves."""
_NEVER = 1e-12
"""A reading this rare does not happen, one this sure does."""
_FAR = 8.0
"""Standard deviations beyond which a signal without noise never comes (1e-15)."""


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


def rates_of(
    distribution: SignalDistribution, grid: SignalGrid, *, low: float, high: float, readings: Readings
) -> Rates:
    """The six pairs for a band `low` to `high` of one sheet.

    Of plies that are counted, `no_sheet_as_single` is the worse of nothing and a ply too few read as right; of a
    stream, what is correct is told by the number of sheets that is read wrongly more often.
    """

    def below(spread: Spread, count: int) -> Array:
        return _chance(spread, grid, -inf, low, count, readings.run)

    def beyond(spread: Spread, count: int) -> Array:
        return _chance(spread, grid, high, inf, count, readings.run)

    one, two = distribution.single, distribution.double
    single_below, single_above = below(one, readings.single), beyond(one, readings.single)
    double_below, double_above = below(two, readings.double), beyond(two, readings.double)
    nothing_above = beyond(distribution.no_sheet, readings.no_sheet)
    nothing_within = _chance(distribution.no_sheet, grid, low, high, readings.no_sheet, readings.run)
    if distribution.other is not None:
        single_below = np.maximum(single_below, below(distribution.other, readings.single))
        single_above = np.maximum(single_above, beyond(distribution.other, readings.single))
    if distribution.fewer is not None:
        neither = _neither(below(distribution.fewer, readings.single), beyond(distribution.fewer, readings.single))
        nothing_within = np.maximum(nothing_within, neither)
    return {
        "single_as_double": single_above,
        "single_as_no_sheet": single_below,
        "double_as_single": _neither(double_below, double_above),
        "double_as_no_sheet": double_below,
        "no_sheet_as_single": nothing_within,
        "no_sheet_as_double": nothing_above,
    }


def misreads_of(rates: Rates) -> Misreads:
    """Rates as they are told: over all draws and drifts."""
    return Misreads(**{pair: misread_of(rate) for pair, rate in rates.items()})


def misread_of(rates: Array) -> Misread:
    """The same of one pair of states: median, mean, and the interval from 5 to 95 %, per million."""
    if 1e6 * rates.max() <= FLOOR_PPM:
        return Misread(estimate=FLOOR_PPM, mean=FLOOR_PPM, low=FLOOR_PPM, high=FLOOR_PPM, floored=True)
    flat, weights = over_draws(1e6 * rates)
    mean = float(weights @ flat)
    # Rates run over powers of ten from one drift to the next: so do their quantiles. Rounding orders none of them.
    powers = np.log(np.maximum(flat, _RAREST)).round(6)
    quantiles = weighted_quantiles(powers, weights, (0.05, 0.5, 0.95))
    low, estimate, high = np.minimum(np.exp(quantiles), 1e6).tolist()
    return Misread(
        estimate=max(estimate, FLOOR_PPM),
        mean=max(mean, FLOOR_PPM),
        low=max(low, FLOOR_PPM),
        high=max(high, FLOOR_PPM),
        floored=bool(estimate < FLOOR_PPM),
    )


def _neither(below: Array, beyond: Array) -> Array:
    """Chance of no run on either side of the band, from those of runs there."""
    return _kept(np.clip(1.0 - below - beyond, 0.0, 1.0))


def _kept(chances: Array) -> Array:
    """Chances as they are kept: what never happens takes no memory, as a long list keeps thousands of these."""
    if not chances.any():
        return np.broadcast_to(0.0, chances.shape)
    chances.setflags(write=False)
    return chances


@lru_cache(maxsize=256)
def _chance(spread: Spread, grid: SignalGrid, over: float, under: float, readings: int, run: int) -> Array:
    """Chance (J or 1, drifts) of a run of readings between two edges. Kept, as one edge of a band is moved at a time,
    and sheets that share a band share what no sheet reads in it."""
    if spread.noise is not None:
        return _by_draw(spread, grid, _run_between(spread.noise, grid, over, under, readings, run))
    if readings < run:
        return np.broadcast_to(0.0, (len(spread.values), len(DRIFTS)))
    if isinf(over):
        return _kept(_beyond(spread, under, side=-1.0))
    if isinf(under):
        return _kept(_beyond(spread, over, side=1.0))
    return _neither(_beyond(spread, over, side=-1.0), _beyond(spread, under, side=1.0))


def _beyond(spread: Spread, edge: float, *, side: float) -> Array:
    """Chance (J or 1, drifts) that a signal without noise lies above an edge (`side` 1), or below it (-1)."""
    drift = spread.common * DRIFTS if spread.common else np.zeros(1)
    blur = max(spread.blur, 1e-12)
    above = side / blur * (spread.values - edge)
    moved = side / blur * (spread.added[:, None] + drift)
    weights = np.broadcast_to(spread.weights, above.shape)
    sure = above.min(axis=0) + moved.min() > _FAR
    open_ = (above.max(axis=0) + moved.max() >= -_FAR) & ~sure
    chance = np.zeros((len(above), len(drift))) + weights[:, sure].sum(axis=1, keepdims=True)
    if open_.any():
        above, shares = above[:, open_, None], weights[:, None, open_] / len(moved)
        for each in moved:
            chance += (shares @ ndtr(above + each))[:, 0]
    return np.broadcast_to(chance, (len(above), len(DRIFTS)))


def _by_draw(spread: Spread, grid: SignalGrid, chances: Array) -> Array:
    """Means (J, drifts) of chances (count,) by the steady signal, over the events of each draw."""
    steady = _steady(spread, grid)
    reached = chances[slice(*_reached(spread, steady.at, by=steady.common * DRIFTS[-1] / grid.step))]
    if not reached.max() > _NEVER:
        return np.broadcast_to(0.0, (len(steady.events), len(DRIFTS)))
    shifted = _shifted(grid, chances, steady.common * DRIFTS)
    means = np.empty((len(steady.events), len(DRIFTS)))
    for draws, floor in steady.floors:
        read = shifted[:, steady.at] if floor is None else floor.before(shifted, steady.at)
        means[draws] = steady.events[draws] @ (steady.averaging @ read.T)
    return _kept(means)


@dataclass(frozen=True, kw_only=True)
class _Steady:
    """A signal of events on a grid, whatever it is read as: chances (J, n) of n bins in each draw, what takes chances
    `at` grid points to their means over what moves those bins, the drift, and the floors."""

    events: Array
    at: Indices
    averaging: Array
    common: float
    floors: tuple[tuple[slice | Flags, Floor | None], ...]


@lru_cache(maxsize=32)
def _steady(spread: Spread, grid: SignalGrid) -> _Steady:
    blur, common = _narrowed(spread, grid)
    values = spread.values
    first, part = grid.part_about(values)
    events = part.bin_nodes(values, spread.weights)
    averaging = grid.averaging(part.count, added=spread.added, sigma=blur)
    reach = averaging.shape[1] - part.count
    at = np.clip(np.arange(averaging.shape[1]) + (first - reach // 2), 0, grid.count - 1)
    floors = tuple(_floors(spread, first, events))
    return _Steady(events=events, at=at, averaging=averaging, common=common, floors=floors)


def _reached(spread: Spread, at: Indices, *, by: float) -> tuple[int, int]:
    """From where to where the grid is asked about signals that are read `at` some points of it, and drift so far."""
    low, high = int(at[0]), int(at[-1])
    if spread.floor is not None:
        moved = 0 if spread.floor_steps is None else int(np.abs(spread.floor_steps).max())
        if high >= spread.floor.first - moved:
            low = min(low, spread.floor.first - moved)
            high = max(high, spread.floor.first + moved + len(spread.floor.matrix))
    margin = int(np.ceil(by)) + 1
    return max(low - margin, 0), high + margin + 1


def _floors(spread: Spread, first: int, events: Array) -> Iterator[tuple[slice | Flags, Floor | None]]:
    """Draws (of J) and the floor in them: the same in all but where the signal, in bins from `first` on, comes near to
    one that moves."""
    floor, steps = spread.floor, spread.floor_steps
    near = 0 if floor is None else floor.first + len(floor.matrix) // 4 - first
    if floor is None or steps is None or len(events) != len(steps) or _rare(events[:, max(near, 0) :]):
        yield slice(None), floor
        return
    for step in np.unique(steps).tolist():
        yield steps == step, replace(floor, first=floor.first + step)


def _rare(events: Array) -> bool:
    return events.size == 0 or bool(events.max() < NO_EVENT)


def _narrowed(spread: Spread, grid: SignalGrid) -> tuple[float, float]:
    """Blur and drift without what the grid adds to their variance: of what varies within a draw first, then of drift,
    each of which keeps most of its own."""
    most = 1.0 - LEAST_NARROWED**2
    blur, common = spread.blur**2, spread.common**2
    own = min(GRID_ADDS * grid.step**2, most * blur)
    others = min(GRID_ADDS * grid.step**2 - own, most * common)
    return float(np.sqrt(blur - own)), float(np.sqrt(common - others))


def _shifted(grid: SignalGrid, chances: Array, by: Array) -> Array:
    """Chances (count,) read so far further on the grid, (D, count); beyond the ends as at the ends."""
    position = np.clip(np.arange(grid.count) + by[:, None] / grid.step, 0.0, grid.count - 1.000001)
    left = position.astype(np.intp)
    share = position - left
    return np.asarray((1.0 - share) * chances[left] + share * chances[left + 1])


@lru_cache(maxsize=64)
def _run_between(noise: Noise, grid: SignalGrid, over: float, under: float, readings: int, run: int) -> Array:
    """Chance (count,) of a run of readings between two edges, by the steady signal."""
    at_least, beyond = (0.0 if isinf(edge) else above(noise, grid, edge) for edge in (over, under))
    one = np.asarray((1.0 if isinf(over) else at_least) - beyond)
    chance = np.asarray(run_chance(one=one, readings=readings, run=run).mean(axis=1))
    chance.setflags(write=False)
    return chance
