"""Legendre tools: against SciPy, and a plane wave whose series is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import eval_legendre, spherical_jn
from sheetmargin_service.acoustics.legendre import gauss_nodes, legendre_table, series_coefficients, series_order


def test_table_agrees_with_scipy() -> None:
    x = np.linspace(-1.0, 1.0, 31).reshape(1, 31)
    table = legendre_table(order=120, x=x)
    assert table.shape == (120, 1, 31)
    np.testing.assert_allclose(table, eval_legendre(np.arange(120)[:, None, None], x), atol=1e-12)


@pytest.mark.parametrize("extent_rad", [5.0, 60.0, 400.0])
def test_plane_wave(extent_rad: float) -> None:
    """e^(-i x cos) = sum (2n+1) (-i)^n j_n(x) P_n(cos) (Abramowitz and Stegun 10.1.47), complete by then."""
    order = series_order(extent_rad=extent_rad)
    nodes, _ = gauss_nodes(order + 8)
    series = series_coefficients(samples=np.exp(-1j * extent_rad * nodes), order=order)
    n = np.arange(order)
    np.testing.assert_allclose(series, (2 * n + 1) * (-1j) ** n * spherical_jn(n, extent_rad), atol=1e-10)
    assert np.max(np.abs(series[-4:])) < 1e-11


def test_addition_theorem() -> None:
    """The mean of P_n over azimuth about a tilted axis is P_n P_n."""
    theta, tilt = 0.7, 0.4
    azimuth = (np.arange(256) + 0.5) * (2.0 * np.pi / 256)
    cosine = np.cos(theta) * np.cos(tilt) + np.sin(theta) * np.sin(tilt) * np.cos(azimuth)
    mean = legendre_table(order=40, x=cosine).mean(axis=1)
    product = legendre_table(order=40, x=np.cos(np.array(theta))) * legendre_table(order=40, x=np.cos(np.array(tilt)))
    np.testing.assert_allclose(mean, product, atol=1e-12)
