"""Distributions on a grid: binning, blur, quantiles, and what binning does to a tail."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import fftconvolve
from scipy.special import ndtr
from scipy.stats import norm
from sheetmargin_service.principles.noise import above
from sheetmargin_service.principles.signal_grid import SignalGrid, phase_nodes

GRID = SignalGrid(low=-20.0, step=0.5, count=360)
ONE = np.ones(1)


def blur(pmf, sigma, grid=GRID):
    """Rows, each with a Gaussian."""
    return np.stack([grid.moved(row, sigma=s) for row, s in zip(pmf, sigma, strict=True)])


def spread(values, weights, sigma):
    """Nodes, each with a Gaussian that is narrowed by what binning adds."""
    pmf, shared = GRID.binned(values, weights)
    return blur(pmf, GRID.narrowed(sigma, shared=shared))


def moments(pmf, grid=GRID):
    mean = pmf @ grid.centres
    return mean, pmf @ grid.centres**2 - mean**2


def test_bins_keep_probability_and_mean():
    rng = np.random.default_rng(5)
    values, weights = rng.uniform(-10.0, 120.0, (7, 40)), rng.dirichlet(np.ones(40), 7)
    pmf = GRID.bin_nodes(values, weights)
    assert pmf.shape == (7, 360)
    assert pmf.sum(axis=1) == pytest.approx(np.ones(7), abs=1e-12)
    assert pmf @ GRID.centres == pytest.approx((values * weights).sum(axis=1), abs=1e-9)


def test_bins_add_the_variance_of_sharing():
    """A node at the share s to the next bin has the variance step^2 s (1 - s), at most step^2/4."""
    shares = np.array([0.0, 0.1, 0.5, 0.75])
    _, variance = np.transpose([moments(p) for p in GRID.bin_nodes((30.0 + 0.5 * shares)[:, None], ONE)])
    assert variance == pytest.approx(0.25 * shares * (1.0 - shares), abs=1e-9)


def test_values_beyond_the_grid_stay_in_its_end_bins():
    pmf = GRID.bin_nodes(np.array([[-1e3, 1e3]]), np.array([0.3, 0.7]))[0]
    assert pmf[0] == pytest.approx(0.3)
    assert pmf[-1] + pmf[-2] == pytest.approx(0.7)
    assert pmf[-1] == pytest.approx(0.7, abs=1e-5)


def test_blur_is_a_convolution_with_the_integrated_gaussian():
    rng = np.random.default_rng(1)
    pmf = np.zeros((3, 360))
    pmf[:, 100:250] = rng.dirichlet(np.ones(150), 3)
    sigma = np.array([0.2, 1.7, 6.0])
    edges = GRID.step * (np.arange(-200, 202) - 0.5)
    for row, s, blurred in zip(pmf, sigma, blur(pmf, sigma), strict=True):
        expected = fftconvolve(row, np.diff(ndtr(edges / s)), mode="same")
        assert blurred == pytest.approx(expected, abs=1e-12)


def test_blur_of_no_width_changes_nothing():
    pmf = GRID.bin_nodes(np.array([[10.3, 44.0]]), np.array([0.4, 0.6]))
    for sigma in (0.0, 1e-9, 0.01):
        assert blur(pmf, np.array([sigma])) == pytest.approx(pmf, abs=1e-12)


def test_blur_has_no_ripple_where_it_is_narrower_than_a_bin():
    """Nodes a third of a bin apart over a flat stretch stay flat, whatever the width."""
    nodes = np.arange(20.0, 80.0, GRID.step / 3.0)[None, :]
    pmf = GRID.bin_nodes(nodes, np.full(nodes.shape[1], 1.0 / nodes.shape[1]))
    for sigma in (0.05, 0.2, 0.5):
        flat = blur(pmf, np.array([sigma]))[0, 100:180]
        assert np.ptp(flat) < 1e-9


def test_what_is_blurred_past_an_end_stays_there():
    grid = SignalGrid(low=0.0, step=1.0, count=20)
    at_end = grid.bin_nodes(np.array([[0.0]]), ONE)
    blurred = grid.moved(at_end[0], sigma=3.0)
    assert blurred.sum() == pytest.approx(1.0)
    assert blurred[0] == pytest.approx(ndtr(0.5 / 3.0), abs=1e-9)


def test_means_over_what_moves_a_value_are_those_over_its_distribution():
    """A chance by the value moved, averaged before the values are binned or after: the same mean, at the ends too."""
    rng = np.random.default_rng(4)
    added = np.array([-3.0, 0.2, 1.1])
    for low, high in ((20.0, 60.0), (-25.0, 30.0), (100.0, 170.0), (41.2, 41.3)):
        values, weights = rng.uniform(low, high, (2, 9)), rng.dirichlet(np.ones(9), 2)
        chance = np.sort(rng.random(360))
        first, part = GRID.part_about(values)
        averaging = GRID.averaging(part.count, sigma=1.7, added=added)
        reach = averaging.shape[1] - part.count
        at = np.clip(np.arange(averaging.shape[1]) + (first - reach // 2), 0, GRID.count - 1)
        means = part.bin_nodes(values, weights) @ averaging @ chance[at]
        moved = [GRID.moved(row, sigma=1.7, added=added) for row in GRID.bin_nodes(values, weights)]
        assert means == pytest.approx(moved @ chance, rel=1e-9)


def test_blur_wider_than_the_grid_keeps_all_probability():
    grid = SignalGrid(low=0.0, step=1.0, count=10)
    blurred = grid.moved(grid.bin_nodes(np.array([[4.5]]), ONE)[0], sigma=500.0)
    assert blurred.sum() == pytest.approx(1.0)
    assert blurred[0] == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(("sigma", "slack"), [(0.8, 0.4), (1.5, 0.06), (3.0, 0.015)])
def test_tail_of_a_spread_node_is_that_of_the_gaussian(sigma, slack):
    """An edge at a whole dB, 2 to 3.7 standard deviations off, wherever the node falls between bins. Plain binning and
    blur would be 35 % off at 1.5 dB and 1e-4, twice as much at 0.8 dB."""
    for z in (2.0, 2.33, 3.09, 3.72):
        nodes = 50.0 - z * sigma * np.linspace(0.9, 1.1, 11)
        pmf = spread(nodes[:, None], ONE, np.full(11, sigma))
        exact = norm.sf(50.0, nodes, sigma)
        found = pmf @ above(None, GRID, 50.0).mean(axis=1)
        assert found == pytest.approx(exact, rel=slack)


def test_a_node_spread_narrower_than_a_bin_is_never_made_too_narrow():
    """As an edge in the middle of a bin reads it, which adds step^2/6 to the variance of the bins' middles."""
    for sigma in (0.1, 0.3, 0.5):
        nodes = np.linspace(30.0, 30.5, 9)[:, None]
        for pmf in spread(nodes, ONE, np.full(9, sigma)):
            assert moments(pmf)[1] + GRID.step**2 / 6 > sigma**2


def test_narrowed_takes_off_what_binning_adds():
    assert GRID.narrowed(2.0) ** 2 == pytest.approx(4.0 - 0.25 * (1 / 6 + 1 / 4))
    assert GRID.narrowed(2.0, shared=0.0) ** 2 == pytest.approx(4.0 - 0.25 / 4)
    assert GRID.narrowed(0.2) == pytest.approx(0.18)


def test_quantiles_of_a_gaussian():
    pmf = blur(GRID.bin_nodes(np.array([[40.0], [70.25]]), ONE), np.array([2.0, 5.0]))
    found = GRID.quantiles(pmf, (0.01, 0.5, 0.99))
    assert found[0] == pytest.approx(norm.ppf([0.01, 0.5, 0.99], 40.0, 2.0), abs=0.03)
    assert found[1] == pytest.approx(norm.ppf([0.01, 0.5, 0.99], 70.25, 5.0), abs=0.03)


def test_quantiles_rise_with_probability_even_where_nothing_lies():
    pmf = GRID.bin_nodes(np.array([[0.0, 100.0]]), np.array([0.5, 0.5]))
    p10, p50, p90 = GRID.quantiles(pmf, (0.1, 0.5, 0.9))[0]
    assert p10 <= p50 <= p90
    assert p10 == pytest.approx(0.0, abs=0.5)
    assert p90 == pytest.approx(100.0, abs=0.5)


def test_phase_nodes_are_exact_for_even_functions_to_their_order():
    """The mean of cos(n phase) is 0 for 0 < n < 2 count, and the nodes fail at 2 count."""
    phases = phase_nodes(4)
    assert [np.mean(np.cos(n * phases)) for n in range(1, 8)] == pytest.approx([0.0] * 7, abs=1e-12)
    assert np.mean(np.cos(8 * phases)) == pytest.approx(-1.0)
