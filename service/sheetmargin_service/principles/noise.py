"""What a single reading adds to a steady signal, apart from every other reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.principles.signal_grid import SignalGrid

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
PARTS = 4
"""Places over a bin at which the chance of a reading is taken: a run of readings turns it into a steep step."""


@dataclass(frozen=True, kw_only=True)
class Floor:
    """What becomes of a signal near a floor on the grid, from grid point `first` on (which may lie off it).

    Row i of `matrix` (W, W): the distribution over the grid points from `first` on where the signal is the i-th of
    these. A signal before them stays as it is, one after them is as the last. A floor between two grid points is both
    as far as it is near to them: `share` of the one that lies a grid point further.
    """

    first: int
    matrix: Array
    share: float = 0.0

    def of(self, pmf: Array) -> Array:
        """Distributions (R, count) with the floor of signals with distributions `pmf`."""
        nearer = self._at(self.first, pmf)
        if self.share == 0.0 or nearer is pmf:
            return nearer
        return np.asarray((1.0 - self.share) * nearer + self.share * self._at(self.first + 1, pmf))

    def before(self, chance: Array, at: Indices) -> Array:
        """Chances (R, P) by the signal without the floor at some rising points of the grid, from those by the signal
        with it at all of its points (R, count): the means of `chance` over what becomes of each signal."""
        nearer = self._before_at(self.first, chance, at)
        if self.share == 0.0:
            return nearer
        return np.asarray((1.0 - self.share) * nearer + self.share * self._before_at(self.first + 1, chance, at))

    def _before_at(self, first: int, chance: Array, at: Indices) -> Array:
        count, width = chance.shape[1], len(self.matrix)
        begin, end = max(first, 0), min(first + width, count)
        result = chance[:, at]
        moved = int(np.searchsorted(at, begin))
        if begin < end and moved < len(at):
            window = np.clip(np.arange(first, first + width), begin, end - 1)
            result[:, moved:] = chance[:, window] @ self.matrix[np.minimum(at[moved:], end - 1) - first].T
        return result

    def _at(self, first: int, pmf: Array) -> Array:
        count, width = pmf.shape[1], len(self.matrix)
        begin, end = max(first, 0), min(first + width, count)
        if begin >= end or not pmf[:, begin:].any():
            return pmf
        near = pmf[:, begin:end].copy()
        near[:, -1] += pmf[:, end:].sum(axis=1)
        spread = near @ self.matrix[begin - first : end - first]
        result = np.zeros_like(pmf)
        result[:, :begin] = pmf[:, :begin]
        result[:, begin:end] = spread[:, begin - first : end - first]
        result[:, begin] += spread[:, : begin - first].sum(axis=1)
        result[:, end - 1] += spread[:, end - first :].sum(axis=1)
        return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Noise:
    """What noise makes of one reading of a steady signal. Known by identity.

    `beyond(edge)` is the chance (W, PARTS) that one reading lies above an edge, for steady signals at PARTS places in
    each of the floor's bins.
    """

    floor: Floor
    beyond: Callable[[float], Array]

    def read(self, pmf: Array) -> Array:
        """Distributions (R, count) of one reading from those of the steady signal."""
        return self.floor.of(pmf)


def above(noise: Noise | None, grid: SignalGrid, edge: float) -> Array:
    """Chance (count, PARTS) that one reading lies above an edge, by the place of the steady signal in each bin; without
    noise a reading is the steady signal."""
    steady = grid.centres[:, None] + grid.step * places_in_bin()
    chance = np.heaviside(steady - edge, 0.5)
    if noise is not None:
        floor = noise.floor
        nearer = _read_above(chance, noise.beyond(edge), floor.first)
        if floor.share == 0.0:
            return nearer
        further = _read_above(chance, noise.beyond(edge - grid.step), floor.first + 1)
        chance = (1.0 - floor.share) * nearer + floor.share * further
    return chance


def _read_above(chance: Array, near: Array, first: int) -> Array:
    """Chances (count, PARTS) with those `near` (W, PARTS) a floor in their place from grid point `first` on."""
    begin, end = max(first, 0), first + len(near)
    read = chance.copy()
    read[begin:end] = near[begin - first : len(chance) - first]
    read[max(end, 0) :] = near[-1, -1]
    return read


def places_in_bin() -> Array:
    """PARTS places over a bin, from its centre, in steps of the grid."""
    return (np.arange(PARTS) + 0.5) / PARTS - 0.5
