"""From branches of a level to what is read of it: quantiles to first order, distributions in full."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import compress

import numpy as np
from numpy.typing import NDArray
from scipy.special import spence

from sheetmargin_service.constants import DB_PER_NEPER, Z99
from sheetmargin_service.prediction.grid import REACH, SignalGrid, normal_share, phase_nodes
from sheetmargin_service.prediction.noise import Floor, Noise
from sheetmargin_service.prediction.principles.base import Spread
from sheetmargin_service.prediction.principles.ultrasonic.levels import AIR_BELIEF, Branches

Array = NDArray[np.float64]
GRID = SignalGrid(low=-20.0, step=0.5, count=360)
RIPPLE_PHASES = 4
LEAST_BOUNCE = 0.01
"""A bounce below this moves the level by less than 0.1 dB, and is left out; it comes in by degrees up to twice this."""


@dataclass(frozen=True, kw_only=True)
class Cloud:
    """One state at one setting: R variants of M nodes of its attenuation in dB, weights (R, M), how far each variant is
    believed (R,), the variance of what blurs a node and of what moves every state alike, and the receiver."""

    nodes: Array
    weights: Array
    belief: Array
    variance: float
    common: float
    bypass: Floor
    noise: Noise


def nodes_of(branches: Branches, ripple: Array, belief: Array) -> tuple[Array, Array, Array]:
    """Nodes, weights and belief of a `Cloud`, from branches (V, K, 1) and what bounces add to them, equally likely.

    One thing at a time: every variant with the air as it is, then the nominal one with the air's alternatives.
    """
    nodes = (branches.attenuation_db + ripple).reshape(len(branches.attenuation_db), -1)
    weights = np.repeat(branches.weights, len(ripple), axis=1) / len(ripple)
    others = len(weights) - 1
    return (
        np.concatenate([nodes, np.broadcast_to(nodes[0], (others, nodes.shape[1]))]),
        np.concatenate([np.broadcast_to(weights[0], nodes.shape), weights[1:]]),
        np.concatenate([belief * (1.0 - others * AIR_BELIEF), np.full(others, AIR_BELIEF)]),
    )


def spreads_of(clouds: Sequence[Cloud]) -> list[Spread]:
    """Nodes blurred, with the bypass where it is near, and moved by what moves every state."""
    counts = [len(cloud.nodes) for cloud in clouds]
    rows = np.split(np.arange(sum(counts)), np.cumsum(counts)[:-1])
    variance, common = (np.array([getattr(c, name) for c in clouds]) for name in ("variance", "common"))
    weakest = np.array([cloud.nodes.max() for cloud in clouds]) + REACH * np.sqrt(variance)
    near = weakest >= GRID.low + GRID.step * np.array([cloud.bypass.first for cloud in clouds])
    pmf = GRID.spread_sets(
        np.concatenate([cloud.nodes.ravel() for cloud in clouds]),
        np.concatenate([cloud.weights.ravel() for cloud in clouds]),
        np.concatenate([np.repeat(own, cloud.nodes.shape[1]) for cloud, own in zip(clouds, rows, strict=True)]),
        np.sqrt(np.repeat(np.where(near, variance, variance + common), counts)),
    )
    for cloud, own in compress(zip(clouds, rows, strict=True), near):
        pmf[own] = cloud.bypass.of(pmf[own])
    if near.any():
        late = np.concatenate(list(compress(rows, near)))
        pmf[late] = GRID.blur(pmf[late], GRID.narrowed(np.sqrt(np.repeat(common, counts)[late])))
    return [
        Spread(variants=pmf[own[0] : own[-1] + 1], weights=cloud.belief, noise=cloud.noise)
        for cloud, own in zip(clouds, rows, strict=True)
    ]


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

    p1 decides about two sheets: five halvings of the nodes' range, then a straight line, about 0.1 dB. The others are
    the nodes' own, p99 a Gaussian's reach above.
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
    for _ in range(5):
        place = 0.5 * (low + high)
        here = weights @ normal_share(place * inverse - scaled)
        below = here < 0.01
        low, share_low = np.where(below, place, low), np.where(below, here, share_low)
        high, share_high = np.where(below, high, place), np.where(below, share_high, here)
    line = np.clip((0.01 - share_low) / np.maximum(share_high - share_low, 1e-12), 0.0, 1.0)
    return low + line * (high - low), p50, p99 + Z99 * sigma
