"""What bounces between the faces and the sheet add to a level, and quantiles of a level to first order."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, spence

from sheetmargin_service.constants import DB_PER_NEPER, Z99
from sheetmargin_service.principles.signal_grid import SignalGrid, normal_share, phase_nodes

Array = NDArray[np.float64]
GRID = SignalGrid(low=-20.0, step=0.5, count=360)
RIPPLE_PHASES = 8
LEAST_BOUNCE = 0.01
"""A bounce below this moves the level by less than 0.1 dB, and is left out; it comes in by degrees up to twice this."""


def ripple_variance(bounce: Array) -> Array:
    """Variance in dB^2 of -20 lg|1 - x e^(i phase)| over a uniform phase: (20/ln 10)^2 Li2(x^2)/2; its mean is 0."""
    return np.asarray(0.5 * DB_PER_NEPER**2 * spence(1.0 - np.square(bounce)))


def ripple_nodes(bounce: float, *, sides: int) -> Array:
    """Attenuations in dB that bounces on one side or both add, equally likely, the phases of both sides independent."""
    if bounce < LEAST_BOUNCE:
        return np.zeros(1)
    one = DB_PER_NEPER * np.log(np.abs(1.0 - bounce * np.exp(1j * phase_nodes(RIPPLE_PHASES))))
    one *= min(1.0, bounce / LEAST_BOUNCE - 1.0)
    return np.asarray(one if sides == 1 else (one[:, None] + one).ravel())


def mixture_quantiles(nodes: Array, weights: Array, sigma: Array) -> tuple[Array, Array, Array]:
    """p1, p50 and p99 (N,) of a mixture of Gaussians at `nodes` (K, N) with `weights` (K,) and one `sigma` (N,).

    p1 decides about two sheets: five halvings of the nodes' range, then twice a line over the normal variable of the
    share, 0.1 dB where nodes lie far apart and hundredths else. The others are the nodes' own, p99 a Gaussian's reach
    above.
    """
    if len(nodes) == 1:
        middle = nodes[0]
        return middle - Z99 * sigma, middle, middle + Z99 * sigma
    order = np.argsort(nodes, axis=0)
    share = np.cumsum(weights[order], axis=0)
    columns = np.arange(nodes.shape[1])
    p50, p99 = (nodes[order[np.argmax(share >= q, axis=0), columns], columns] for q in (0.5, 0.99 - 1e-9))
    low, high = nodes[order[0], columns] - 1.05 * Z99 * sigma, nodes[order[-1], columns]
    scaled, inverse = nodes / sigma, 1.0 / sigma
    share_low, share_high = np.zeros_like(low), np.ones_like(high)
    for halving in range(6):
        place = 0.5 * (low + high) if halving < 5 else _between(low, high, share_low, share_high)
        here = weights @ normal_share(place * inverse - scaled)
        below = here < 0.01
        low, share_low = np.where(below, place, low), np.where(below, here, share_low)
        high, share_high = np.where(below, high, place), np.where(below, share_high, here)
    return _between(low, high, share_low, share_high), p50, p99 + Z99 * sigma


def _between(low: Array, high: Array, share_low: Array, share_high: Array) -> Array:
    """Where a share of 1 % is reached between two places (N,), straight over the normal variable of the share."""
    first, last = (ndtri(np.clip(share, 1e-6, 1.0 - 1e-6)) for share in (share_low, share_high))
    return np.asarray(low + np.clip((-Z99 - first) / np.maximum(last - first, 1e-12), 0.0, 1.0) * (high - low))
