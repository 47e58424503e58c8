"""What a single reading adds to a steady signal, apart from every other reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid

Array = NDArray[np.float64]
PARTS = 4
"""Places over a bin at which the chance of a reading is taken: a run of readings turns it into a steep step."""


@dataclass(frozen=True, kw_only=True)
class Noise:
    """Row i of `matrix` (count, count) is the distribution of one reading where the steady signal is grid point i.

    `shift`: the matrix belongs to a grid moved up by as many bins, so that one matrix serves a receiver at any gap.
    `beyond(steady, edge)` is the chance that one reading of steady signals, any shape, lies above an edge.
    """

    grid: SignalGrid
    matrix: Array
    shift: int
    beyond: Callable[[Array, float], Array]

    def read(self, pmf: Array) -> Array:
        """Distributions (R, count) of one reading from those of the steady signal."""
        return shifted(shifted(pmf, -self.shift) @ self.matrix, self.shift)


def above(noise: Noise | None, grid: SignalGrid, edge: float) -> Array:
    """Chance (count, PARTS) that one reading lies above an edge, by the place of the steady signal in each bin; without
    noise a reading is the steady signal."""
    steady = grid.centres[:, None] + grid.step * ((np.arange(PARTS) + 0.5) / PARTS - 0.5)
    return np.heaviside(steady - edge, 0.5) if noise is None else noise.beyond(steady, edge)


def shifted(pmf: Array, bins: int) -> Array:
    """Probabilities (R, count) moved up by `bins`; what leaves the grid stays in its end bin."""
    if bins == 0:
        return pmf
    count = pmf.shape[1]
    result = np.zeros_like(pmf)
    if bins > 0:
        result[:, bins:] = pmf[:, : count - bins]
        result[:, -1] += pmf[:, count - bins :].sum(axis=1)
    else:
        result[:, :bins] = pmf[:, -bins:]
        result[:, 0] += pmf[:, :-bins].sum(axis=1)
    return result
