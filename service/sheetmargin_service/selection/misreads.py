"""How often a state is read as another, per million: a rate for each draw of what is not known of the job.

A decision needs `run` readings in a row. Within one sheet the trapped air, the mass and the set-up stay; the noise of
each reading is its own. So for each steady signal the chance of a run is computed from the chance of one reading, and
then averaged over the steady signals of all events.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

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
_OUTSIDE, _FROM_BAND = slice(2), slice(1, 3)
"""Of below a band, above it and within it: those on either side of it, and those that nothing must be."""


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

    def about(spread: Spread, count: int, sides: slice = _OUTSIDE) -> tuple[Array, ...]:
        return _about_band(spread, grid, sides, low=low, high=high, readings=count, run=readings.run)

    single_below, single_above = about(distribution.single, readings.single)
    double_below, double_above = about(distribution.double, readings.double)
    nothing_above, nothing_within = about(distribution.no_sheet, readings.no_sheet, _FROM_BAND)
    if distribution.other is not None:
        below, beyond = about(distribution.other, readings.single)
        single_below, single_above = np.maximum(single_below, below), np.maximum(single_above, beyond)
    if distribution.fewer is not None:
        below, beyond = about(distribution.fewer, readings.single)
        nothing_within = np.maximum(nothing_within, _neither(below, beyond))
    rates = {
        "single_as_double": single_above,
        "single_as_no_sheet": single_below,
        "double_as_single": _neither(double_below, double_above),
        "double_as_no_sheet": double_below,
        "no_sheet_as_single": nothing_within,
        "no_sheet_as_double": nothing_above,
    }
    # What never happens takes no memory: a long list keeps thousands of these.
    return {name: rate.copy() if rate.any() else np.broadcast_to(0.0, rate.shape) for name, rate in rates.items()}


def misreads_of(rates: Rates) -> Misreads:
    """Rates as they are told: over all draws and drifts."""
    return Misreads(**{pair: _told(rate) for pair, rate in rates.items()})


def _told(rates: Array) -> Misread:
    """Median, mean, and the interval from 5 to 95 %, per million."""
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
    return np.asarray(np.clip(1.0 - below - beyond, 0.0, 1.0))


def _about_band(
    spread: Spread, grid: SignalGrid, sides: slice, *, low: float, high: float, readings: int, run: int
) -> tuple[Array, ...]:
    """Chance (J or 1, drifts) of a run of readings below a band, of one above it, and of one within it: some of the
    three."""
    if spread.noise is not None:
        chances = _run_outside(spread.noise, grid, low=low, high=high, readings=readings, run=run)
        return tuple(_by_draw(spread, grid, chances[sides]))
    below, beyond = _beyond(spread, low, side=-1.0), _beyond(spread, high, side=1.0)
    if readings < run:
        return (np.zeros_like(below),) * len(range(3)[sides])
    every: tuple[Array, ...] = (below, beyond, _neither(below, beyond))
    return every[sides]


def _beyond(spread: Spread, edge: float, *, side: float) -> Array:
    """Chance (J or 1, drifts) that a signal without noise lies above an edge (`side` 1), or below it (-1)."""
    drift = spread.common * DRIFTS if spread.common else np.zeros(1)
    blur = max(spread.blur, 1e-12)
    above = side / blur * (spread.values - edge)
    shape = len(above), len(DRIFTS)
    moved = side / blur * (spread.added[:, None] + drift)
    if above.max() + moved.max() < -_FAR:
        return np.broadcast_to(0.0, shape)
    weights = np.broadcast_to(spread.weights, above.shape)[..., None] / len(spread.added)
    chance = np.zeros((len(above), len(drift)))
    for each in moved:
        chance += (weights * ndtr(above[..., None] + each)).sum(axis=1)
    return np.broadcast_to(chance, shape)


def _by_draw(spread: Spread, grid: SignalGrid, chances: Array) -> Array:
    """Means (C, J, drifts) of chances (C, count) by the steady signal, over the events of each draw."""
    drifts = len(DRIFTS)
    blur, common = _narrowed(spread, grid)
    values = spread.values
    first, part = grid.part_about(values)
    events = part.bin_nodes(values, spread.weights)
    averaging = grid.averaging(part.count, added=spread.added, sigma=blur)
    reach = averaging.shape[1] - part.count
    at = np.clip(np.arange(averaging.shape[1]) + (first - reach // 2), 0, grid.count - 1)
    found = np.zeros((len(chances), len(events), drifts))
    reached = chances[:, slice(*_reached(spread, at, by=common * DRIFTS[-1] / grid.step))]
    live = np.flatnonzero(reached.max(axis=1) > _NEVER)
    if not len(live):
        return found
    shifted = _shifted(grid, chances[live], common * DRIFTS).reshape(-1, grid.count)
    means = np.empty((len(events), len(shifted)))
    for draws, floor in _floors(spread, first, events):
        read = shifted[:, at] if floor is None else floor.before(shifted, at)
        means[draws] = events[draws] @ (averaging @ read.T)
    found[live] = np.moveaxis(means.reshape(len(means), -1, drifts), 1, 0)
    return found


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
    """Chances (C, count) read so far further on the grid, (C, D, count); beyond the ends as at the ends."""
    position = np.clip(np.arange(grid.count) + by[:, None] / grid.step, 0.0, grid.count - 1.000001)
    left = position.astype(np.intp)
    share = position - left
    return np.asarray((1.0 - share) * chances[:, left] + share * chances[:, left + 1])


@lru_cache(maxsize=64)
def _run_outside(noise: Noise, grid: SignalGrid, *, low: float, high: float, readings: int, run: int) -> Array:
    """Chance (3, count) of a run of readings below a band, above it and within it, by the steady signal."""
    below, beyond = 1.0 - above(noise, grid, low), above(noise, grid, high)
    one = np.stack([below, beyond, 1.0 - below - beyond])
    chance = np.asarray(run_chance(one=one, readings=readings, run=run).mean(axis=2))
    chance.setflags(write=False)
    return chance
