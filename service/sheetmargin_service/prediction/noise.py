"""What a single reading adds to a steady signal, apart from every other reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Noise:
    """Row i of `matrix` (count, count) is the distribution of one reading where the steady signal is grid point i.

    `shift`: the matrix belongs to a grid moved up by as many bins, so that one matrix serves a receiver at any gap.
    """

    grid: SignalGrid
    matrix: Array
    shift: int = 0

    def read(self, pmf: Array) -> Array:
        """Distributions (R, count) of one reading from those of the steady signal."""
        return shifted(shifted(pmf, -self.shift) @ self.matrix, self.shift)

    def above(self, edge: float) -> Array:
        """Chance (count,) that one reading lies above an edge, by the steady signal."""
        return _from_row(self.matrix @ upper_share(self.grid, edge - self.shift * self.grid.step), self.shift)


def upper_share(grid: SignalGrid, edge: float) -> Array:
    """Share (count,) of each bin that lies above an edge, its probability spread evenly over its width."""
    return np.clip(0.5 + (grid.centres - edge) / grid.step, 0.0, 1.0)


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


def _from_row(values: Array, bins: int) -> Array:
    """Values (count,) by grid point of a grid moved up by `bins`, as values of the grid itself."""
    index = np.clip(np.arange(len(values)) - bins, 0, len(values) - 1)
    return np.asarray(values[index])
