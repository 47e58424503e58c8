"""Chances of counts, from special functions alone: `scipy.stats` takes a third of a second to import."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, xlog1py, xlogy


def log_binomial(count: ArrayLike, trials: ArrayLike, rate: NDArray[np.float64]) -> NDArray[np.float64]:
    """Logarithm of the chance of so many in so many trials, each of a rate from 0 to 1; arguments broadcast. -inf for
    more than there are trials."""
    k, n = np.asarray(count, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    rest = np.maximum(n - k, 0.0)
    ways = gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(rest + 1.0)
    return np.where(k > n, -np.inf, ways + xlogy(k, rate) + xlog1py(rest, -rate))
