"""What some readings say about some unknowns: where they most likely lie, and how well that is known.

Every unknown is counted from what was believed before, in standard deviations of that belief: a priori each is 0 +- 1.
A misfit is a reading less its prediction, in standard deviations of the reading; it follows Student's distribution,
whose long tails let a single wrong reading pass at little cost [2]. The peak of the posterior is found by least
squares, and its curvature there gives the covariance (Laplace's approximation [3]). Where the predictions are linear
and the readings Gaussian, both are the closed form of Bayesian regression [1].

References
----------
[1] Rodgers, Inverse Methods for Atmospheric Sounding (2000), equations 2.27 to 2.31.
[2] Lange, Little and Taylor, "Robust statistical modeling using the t distribution", JASA 84, 881 (1989).
[3] Tierney and Kadane, "Accurate approximations for posterior moments and marginal densities", JASA 81, 82 (1986).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

Array = NDArray[np.float64]

FREEDOM = 4.0
"""Degrees of freedom of Student's distribution, as [2] recommends where they are not estimated."""


@dataclass(frozen=True, kw_only=True)
class Peak:
    """The peak of a posterior over m unknowns from n readings.

    `at` (m,), `covariance` (m, m); `misfit` (n,) is left there, `weight` (n,) what each reading still counts: more
    than 1 for one that fits, falling with the square of its misfit. `log_evidence` of the readings, but for a constant.
    """

    at: Array
    covariance: Array
    misfit: Array
    weight: Array
    log_evidence: float


def find_peak(*, misfit: Callable[[Array], Array], slope: Callable[[Array], Array], start: Array) -> Peak:
    """The peak by `start` (m,) of the posterior for `misfit(x)` (n,) with its derivatives `slope(x)` (n, m)."""
    from scipy.optimize import least_squares

    unknowns = len(start)
    identity = np.eye(unknowns)

    def loss(z: Array) -> Array:
        """Student's on the readings alone: what is believed of the unknowns stays Gaussian."""
        rho = np.empty((3, len(z)))
        rho[:, :-unknowns] = _student(z[:-unknowns])
        rho[:, -unknowns:] = z[-unknowns:], np.ones(unknowns), np.zeros(unknowns)
        return rho

    def residuals(x: Array) -> Array:
        return np.concatenate([misfit(x), x])

    def jacobian(x: Array) -> Array:
        return np.vstack([slope(x), identity])

    result = least_squares(
        residuals,
        start,
        jac=jacobian,
        loss=loss,  # type: ignore[arg-type]  # the stubs want SciPy's own wrapper of it
        xtol=1e-6,
        ftol=1e-6,
        gtol=1e-6,
        max_nfev=100,
    )
    at = np.asarray(result.x)
    left, steep = misfit(at), slope(at)
    cost, weight, bend = _student(left * left)
    # A reading far out bends the other way; it is taken as one that says nothing.
    curvature = np.maximum(weight + 2.0 * bend * left * left, 0.0)
    precision = steep.T @ (curvature[:, None] * steep) + identity
    _, log_determinant = np.linalg.slogdet(precision)
    return Peak(
        at=at,
        covariance=np.linalg.inv(precision),
        misfit=left,
        weight=weight,
        log_evidence=float(-0.5 * (cost.sum() + at @ at + log_determinant)),
    )


@dataclass(frozen=True, kw_only=True)
class Belief:
    """Mean (m,) and covariance (m, m) of some unknowns."""

    mean: Array
    covariance: Array


def average(beliefs: Sequence[Belief], *, nodes: Array, log_evidence: Array, index: int) -> Belief:
    """The belief where unknown `index` was held at each of its rising `nodes` (N,) in turn, averaged over it.

    Each node counts by its evidence, by what was believed of the unknown before, 0 +- 1, and by the room that it has to
    its neighbours; mean and covariance follow from the law of total covariance.
    """
    room = np.gradient(nodes) if len(nodes) > 1 else np.ones(1)
    log_share = log_evidence - 0.5 * nodes**2 + np.log(room)
    share = np.exp(log_share - logsumexp(log_share))
    at = np.array([belief.mean for belief in beliefs])
    at[:, index] = nodes
    within = np.array([belief.covariance for belief in beliefs])
    within[:, index, :] = within[:, :, index] = 0.0
    mean = share @ at
    away = at - mean
    return Belief(mean=mean, covariance=np.tensordot(share, within, axes=1) + (share[:, None] * away).T @ away)


def _student(z: Array) -> Array:
    """-2 log of Student's distribution at a squared misfit z, from its value at 0, with its derivatives."""
    total = FREEDOM + z
    return np.stack([
        (FREEDOM + 1.0) * np.log1p(z / FREEDOM),
        (FREEDOM + 1.0) / total,
        -(FREEDOM + 1.0) / total**2,
    ])  # fmt: skip
