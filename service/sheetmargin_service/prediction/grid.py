"""Distributions of a signal as probabilities on a uniform grid.

Spread from a few known branches (trapped air, phases) is a set of weighted nodes; spread that adds (mass, drift) is
Gaussian. On a grid both combine by binning and convolution, and every quantile or tail is a sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SignalGrid:
    """Bin centres `low + step * i`, `count` of them. A value beyond the ends is put in the end bin."""

    low: float
    step: float
    count: int

    @property
    def centres(self) -> Array:
        return self.low + self.step * np.arange(self.count)

    def bin_nodes(self, values: Array, weights: Array) -> Array:
        """Probabilities (R, count) of R sets of weighted nodes.

        `values` (R, M); `weights` broadcasts to it and sums to 1 along M. Each node is shared between its two
        neighbouring bins, which keeps the mean exact and adds at most step^2/4 to the variance.
        """
        rows, _ = values.shape
        place = np.clip((values - self.low) / self.step, 0.0, self.count - 1.000001)
        left = place.astype(np.int64)
        share = place - left
        weight = np.broadcast_to(weights, values.shape)
        index = left + (np.arange(rows) * self.count)[:, None]
        size = rows * self.count
        pmf = np.bincount(index.ravel(), (weight * (1.0 - share)).ravel(), minlength=size)
        pmf += np.bincount((index + 1).ravel(), (weight * share).ravel(), minlength=size)
        return pmf.reshape(rows, self.count)

    def blur(self, pmf: Array, sigma: Array) -> Array:
        """Convolve each row of `pmf` (R, count) with a Gaussian of standard deviation `sigma` (R,)."""
        width = 2 * self.count
        omega = 2.0 * np.pi * np.fft.rfftfreq(width, d=self.step)
        spectrum = np.fft.rfft(pmf, n=width) * np.exp(-0.5 * (sigma[:, None] * omega) ** 2)
        spread = np.fft.irfft(spectrum, n=width)
        result = np.clip(spread[:, : self.count], 0.0, None)
        # what the circular convolution carried past the lower end comes back at the top half: fold it in
        result[:, 0] += np.clip(spread[:, self.count + self.count // 2 :], 0.0, None).sum(axis=1)
        result[:, -1] += np.clip(spread[:, self.count : self.count + self.count // 2], 0.0, None).sum(axis=1)
        return result / result.sum(axis=1, keepdims=True)

    def quantiles(self, pmf: Array, probabilities: tuple[float, ...]) -> Array:
        """Quantiles (R, P) by linear interpolation of the cumulated probability at the bins' upper edges."""
        cumulated = np.cumsum(pmf, axis=1)
        out = np.empty((pmf.shape[0], len(probabilities)))
        rows = np.arange(pmf.shape[0])
        for column, probability in enumerate(probabilities):
            index = np.minimum((cumulated < probability).sum(axis=1), self.count - 1)
            before = np.where(index > 0, cumulated[rows, index - 1], 0.0)
            mass = np.maximum(pmf[rows, index], 1e-300)
            fraction = np.clip((probability - before) / mass, 0.0, 1.0)
            out[:, column] = self.low + self.step * (index - 0.5 + fraction)
        return out


def gauss_hermite(order: int) -> tuple[Array, Array]:
    """Nodes and weights for the mean over a standard normal variable."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(order)
    return nodes, weights / weights.sum()


def phase_nodes(count: int) -> Array:
    """Phases at which the mean of an even function over a uniform phase is exact to order 2 count (Gauss-Chebyshev)."""
    return np.pi * (np.arange(count) + 0.5) / count
