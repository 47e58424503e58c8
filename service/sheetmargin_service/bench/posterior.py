"""What some readings say about some unknowns: where they most likely lie, and how well that is known.

Every unknown is counted from what was believed before, in standard deviations of that belief: a priori each is 0 +- 1.
A misfit is a reading less its prediction, in standard deviations of the reading. Most readings are as they should be; a
few are wrong, and then by anything [2]. The peak of the posterior is found by least squares, and its curvature there
gives the covariance (Laplace's approximation [3]). Where the predictions are linear and no reading is wrong, both are
the closed form of Bayesian regression [1].

References
----------
[1] Rodgers, Inverse Methods for Atmospheric Sounding (2000), equations 2.27 to 2.31.
[2] Hogg, Bovy and Lang, "Data analysis recipes: fitting a model to data", arXiv:1008.4686 (2010), section 3.
[3] Tierney and Kadane, "Accurate approximations for posterior moments and marginal densities", JASA 81, 82 (1986).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import expit, log_expit, logsumexp

Array = NDArray[np.float64]
Loss = Callable[[Array], Array]

OUTLIERS = 0.05
OUTLIER_WIDTH = 20.0
"""Share of readings that are wrong, and how much further off they are than the others (choices, stated)."""


@dataclass(frozen=True, kw_only=True)
class Peak:
    """The peak of a posterior over m unknowns from n readings.

    `at` (m,), `covariance` (m, m); `misfit` (n,) is left there, `trust` (n,) the chance that a reading is not wrong;
    `log_evidence` of the readings, but for a constant.
    """

    at: Array
    covariance: Array
    misfit: Array
    trust: Array
    log_evidence: float


def find_peak(*, misfit: Callable[[Array], Array], slope: Callable[[Array], Array], start: Array) -> Peak:
    """The peak near `start` (m,) of the posterior for `misfit(x)` (n,) with its derivatives `slope(x)` (n, m).

    A first pass with a gentler loss comes near, whatever the start; the second takes wrong readings for what they are.
    """
    unknowns = len(start)
    identity = np.eye(unknowns)
    at = start
    for loss in (_gentle, _wrong_or_not):
        result = least_squares(
            lambda x: np.concatenate([misfit(x), x]),
            at,
            jac=lambda x: np.vstack([slope(x), identity]),
            loss=_on_readings(loss, unknowns),
            xtol=1e-4,
            ftol=1e-5,
            gtol=1e-4,
            max_nfev=40,
        )
        at = np.asarray(result.x)
    left, steep = misfit(at), slope(at)
    cost, weight, _ = _wrong_or_not(left * left)
    precision = steep.T @ (weight[:, None] * steep) + identity
    _, log_determinant = np.linalg.slogdet(precision)
    return Peak(
        at=at,
        covariance=np.linalg.inv(precision),
        misfit=left,
        trust=expit(_log_odds(left * left)),
        log_evidence=float(-0.5 * (cost.sum() + at @ at + log_determinant)),
    )


@dataclass(frozen=True, kw_only=True)
class Belief:
    """Mean (m,) and covariance (m, m) of unknowns, the last of which stepped through `nodes` with weights `shares`."""

    mean: Array
    covariance: Array
    nodes: Array
    shares: Array


def average(peaks: Sequence[Peak], nodes: Array, *, first: int) -> Belief:
    """The first unknowns of some peaks, found with one more unknown at each of its `nodes`, averaged over it.

    The law of total covariance, each node by its evidence and by its own belief 0 +- 1.
    """
    log_share = np.array([peak.log_evidence for peak in peaks]) - 0.5 * nodes**2
    shares = np.exp(log_share - logsumexp(log_share))
    at = np.column_stack([np.array([peak.at[:first] for peak in peaks]), nodes])
    mean = shares @ at
    away = at - mean
    covariance = (shares[:, None] * away).T @ away
    for share, peak in zip(shares, peaks, strict=True):
        covariance[:first, :first] += share * peak.covariance[:first, :first]
    return Belief(mean=mean, covariance=covariance, nodes=nodes, shares=shares)


def _on_readings(loss: Loss, unknowns: int) -> Loss:
    """The loss on the readings alone: what is believed of the unknowns stays Gaussian."""

    def on_both(z: Array) -> Array:
        rho = np.empty((3, len(z)))
        rho[:, :-unknowns] = loss(z[:-unknowns])
        rho[:, -unknowns:] = z[-unknowns:], np.ones(unknowns), np.zeros(unknowns)
        return rho

    return on_both


def _gentle(z: Array) -> Array:
    """2 (sqrt(1 + z) - 1) with its derivatives: grows as the misfit itself once that is large."""
    root = np.sqrt(1.0 + z)
    return np.stack([2.0 * (root - 1.0), 1.0 / root, -0.5 / root**3])


def _log_odds(z: Array) -> Array:
    """Logarithm of the odds that a reading of squared misfit z is not wrong [2]."""
    right = np.log((1.0 - OUTLIERS) / OUTLIERS * OUTLIER_WIDTH)
    return np.asarray(right - 0.5 * z * (1.0 - OUTLIER_WIDTH**-2))


def _wrong_or_not(z: Array) -> Array:
    """-2 log of the chance of a squared misfit z, from its value at 0, with its derivatives [2].

    The first derivative is the mean of the two precisions over which of the two the reading is, the second minus half
    their variance.
    """
    odds, wide = _log_odds(z), OUTLIER_WIDTH**-2
    trust = expit(odds)
    value = 2.0 * (log_expit(odds) - log_expit(_log_odds(np.zeros(1)))) + z
    mean = trust + (1.0 - trust) * wide
    spread = trust * (1.0 - trust) * (1.0 - wide) ** 2
    return np.stack([value, mean, -0.5 * spread])
