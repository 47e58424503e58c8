"""Distributions of a signal as probabilities on a uniform grid.

Spread from a few known branches (trapped air, phases) is a set of weighted nodes; spread that adds (mass, drift) is
Gaussian. On a grid both combine by binning and convolution, and every quantile or tail is a sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.special import ndtr

Array = NDArray[np.float64]

REACH = 8.0
"""Standard deviations to which a Gaussian is carried: beyond lies 1e-15 of it."""

LEAST_NARROWED = 0.9
"""Share of its standard deviation that a Gaussian keeps at least when the variance of binning is taken from it."""


@dataclass(frozen=True)
class SignalGrid:
    """Bin centres `low + step * i`, `count` of them. A value beyond the ends is put in the end bin."""

    low: float
    step: float
    count: int

    @property
    def centres(self) -> Array:
        return np.asarray(self.low + self.step * np.arange(self.count))

    def bin_nodes(self, values: Array, weights: Array) -> Array:
        """Probabilities (R, count) of R sets of weighted nodes.

        `values` (R, M); `weights` broadcasts to it and sums to 1 along M. Each node is shared between its two
        neighbouring bins, which keeps the mean exact and adds at most step^2/4 to the variance.
        """
        rows, _ = values.shape
        left, share = self._place(values)
        weight = np.broadcast_to(weights, values.shape)
        index = left + (np.arange(rows) * self.count)[:, None]
        size = rows * self.count
        pmf = np.bincount(index.ravel(), (weight * (1.0 - share)).ravel(), minlength=size)
        pmf += np.bincount((index + 1).ravel(), (weight * share).ravel(), minlength=size)
        return np.asarray(pmf.reshape(rows, self.count), dtype=np.float64)

    def _place(self, values: Array) -> tuple[NDArray[np.int64], Array]:
        """The bin to the left of each value, and the share of it that belongs to the next bin."""
        place = np.clip((values - self.low) / self.step, 0.0, self.count - 1.000001)
        left = place.astype(np.int64)
        return left, place - left

    def spread(self, values: Array, weights: Array, sigma: Array) -> Array:
        """Probabilities (R, count) of nodes as in `bin_nodes`, each with a Gaussian of standard deviation `sigma` (R,),
        narrowed by what binning adds."""
        _, share = self._place(values)
        shared = np.sum(np.broadcast_to(weights, values.shape) * share * (1.0 - share), axis=1)
        return self.blur(self.bin_nodes(values, weights), self.narrowed(sigma, shared=shared))

    def narrowed(self, sigma: Array | float, *, shared: Array | float = 1.0 / 6.0) -> Array:
        """Standard deviation that is left for a Gaussian when what binning adds to the variance is taken from it:
        `shared` step^2, the mean of s (1 - s) over nodes that give the share s to the next bin, and step^2/4 by
        integration over the bins, as an edge in the middle of a bin reads it.

        After Sheppard, Proc. London Math. Soc. 29, 353 (1898). A Gaussian as narrow as a step is left too wide rather
        than made too narrow.
        """
        square = np.square(sigma)
        least = LEAST_NARROWED**2 * square
        return np.asarray(np.sqrt(np.maximum(square - self.step**2 * (shared + 0.25), least)))

    def blur(self, pmf: Array, sigma: Array) -> Array:
        """Convolve each row of `pmf` (R, count) with a Gaussian of standard deviation `sigma` (R,), integrated over the
        bins, so that the result has no ripple however narrow it is. What passes an end stays in the end bin."""
        widths, row = np.unique(sigma, return_inverse=True)
        reach = min(self.count, int(np.ceil(REACH * widths[-1] / self.step)) + 1)
        offsets = self.step * (np.arange(-reach, reach + 2) - 0.5)
        offsets[[0, -1]] = -np.inf, np.inf
        kernel = np.diff(ndtr(offsets / np.maximum(widths, 1e-6 * self.step)[:, None]), axis=1)
        length = next_fast_len(self.count + 2 * reach, real=True)
        spread = irfft(rfft(pmf, n=length) * rfft(kernel, n=length)[row], n=length)
        spread = np.clip(spread[:, : self.count + 2 * reach], 0.0, None)
        result = spread[:, reach : reach + self.count].copy()
        result[:, 0] += spread[:, :reach].sum(axis=1)
        result[:, -1] += spread[:, reach + self.count :].sum(axis=1)
        return np.asarray(result / result.sum(axis=1, keepdims=True))

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


def phase_nodes(count: int) -> Array:
    """Phases at which the mean of an even function over a uniform phase is exact to order 2 count (Gauss-Chebyshev)."""
    return np.pi * (np.arange(count) + 0.5) / count
