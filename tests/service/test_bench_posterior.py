"""The peak of a posterior: closed forms, wrong readings, averages."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import gammaln
from sheetmargin_service.measurement import posterior
from sheetmargin_service.measurement.posterior import Belief, average, find_peak

Array = NDArray[np.float64]


def linear(seed: int, *, readings: int, unknowns: int) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    matrix = rng.standard_normal((readings, unknowns))
    return matrix, matrix @ rng.standard_normal(unknowns) + rng.standard_normal(readings)


def peak_of(matrix: Array, measured: Array) -> posterior.Peak:
    return find_peak(misfit=lambda x: measured - matrix @ x, slope=lambda x: -matrix, start=np.zeros(matrix.shape[1]))


@pytest.mark.parametrize("seed", range(5))
def test_gaussian_and_linear_is_the_closed_form(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rodgers (2000), equations 2.27 and 2.30, with the prior 0 +- 1: S = (K'K + 1)^-1, x = S K'y; and the evidence, a
    Gaussian of covariance KK' + 1."""
    monkeypatch.setattr(posterior, "FREEDOM", 1e9)
    matrix, measured = linear(seed, readings=12, unknowns=5)
    peak = peak_of(matrix, measured)
    covariance = np.linalg.inv(matrix.T @ matrix + np.eye(5))
    np.testing.assert_allclose(peak.covariance, covariance, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(peak.at, covariance @ matrix.T @ measured, rtol=1e-4, atol=1e-6)
    total = matrix @ matrix.T + np.eye(12)
    exact = -0.5 * (measured @ np.linalg.solve(total, measured) + np.linalg.slogdet(total)[1])
    assert peak.log_evidence == pytest.approx(exact, abs=1e-4)


def test_with_long_tails_it_is_the_mean_of_the_exact_posterior() -> None:
    """One unknown by quadrature over Student's distribution itself (density by its gamma functions)."""
    matrix, measured = linear(3, readings=25, unknowns=1)
    peak = peak_of(matrix, measured)
    x = np.linspace(-3.0, 3.0, 20001)
    left = measured[:, None] - matrix * x
    nu = posterior.FREEDOM
    density = gammaln(0.5 * (nu + 1)) - gammaln(0.5 * nu) - 0.5 * np.log(nu * np.pi)
    log = (density - 0.5 * (nu + 1) * np.log1p(left**2 / nu)).sum(axis=0) - 0.5 * x**2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ x)
    sigma = float(np.sqrt(weight @ (x - mean) ** 2))
    assert peak.at[0] == pytest.approx(mean, abs=0.1 * sigma)
    assert peak.covariance[0, 0] ** 0.5 == pytest.approx(sigma, rel=0.1)


def test_one_wrong_reading_moves_little() -> None:
    matrix, measured = linear(1, readings=12, unknowns=3)
    wrong = measured.copy()
    wrong[4] += 40.0
    good, bad = peak_of(np.delete(matrix, 4, 0), np.delete(measured, 4)), peak_of(matrix, wrong)
    sigma = np.sqrt(np.diag(good.covariance))
    assert np.all(np.abs(bad.at - good.at) < 0.5 * sigma)
    assert abs(bad.misfit[4]) > 30.0
    assert bad.weight[4] < 0.01
    plain = np.linalg.solve(matrix.T @ matrix + np.eye(3), matrix.T @ wrong)
    assert np.any(np.abs(plain - good.at) > 2.0 * sigma)


def test_averages_over_a_held_unknown_are_those_of_the_joint_gaussian() -> None:
    """A Gaussian of two unknowns, one held at nodes: conditional mean and variance, evidence by what is left of it."""
    covariance = np.array([[0.5, 0.2], [0.2, 0.3]])
    mean = np.array([0.4, -0.3])
    nodes = np.linspace(-2.5, 2.5, 41)
    slope = covariance[0, 1] / covariance[1, 1]
    beliefs = [
        Belief(
            mean=np.array([mean[0] + slope * (x - mean[1]), 0.0]),
            covariance=np.diag([covariance[0, 0] - slope * covariance[0, 1], 1.0]),
        )
        for x in nodes
    ]
    evidence = -0.5 * (nodes - mean[1]) ** 2 / covariance[1, 1] + 0.5 * nodes**2
    found = average(beliefs, nodes=nodes, log_evidence=evidence, index=1)
    np.testing.assert_allclose(found.mean, mean, atol=1e-3)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-3)
