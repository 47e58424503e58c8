"""What a receiver makes of a level: noise of each reading, bypass at a random phase."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from scipy.stats import rice
from sheetmargin_service.principles.noise import PARTS, Floor, above
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.ultrasonic.receiver import (
    bypass_floor,
    read_percentiles,
    reading_beyond,
    receiver_noise,
)

GRID = SignalGrid(low=-20.0, step=0.5, count=360)
DRAWS = 1_000_000


def at(attenuation_db: float):
    """All probability on one grid point."""
    pmf = np.zeros((1, GRID.count))
    pmf[0, round((attenuation_db - GRID.low) / GRID.step)] = 1.0
    return pmf


def sampled(steady_db, noise_db: float):
    """Readings of a steady level in complex Gaussian noise."""
    rng = np.random.default_rng(2)
    noise = 10 ** (-0.05 * noise_db) * np.sqrt(0.5) * (rng.standard_normal(DRAWS) + 1j * rng.standard_normal(DRAWS))
    return -20.0 * np.log10(np.abs(10 ** (-0.05 * steady_db) + noise))


def added_powers_db(*attenuations_db: float) -> float:
    return -10.0 * np.log10(sum(10.0 ** (-0.1 * a) for a in attenuations_db))


@pytest.mark.parametrize(("bypass_db", "noise_db"), [(96.0, 100.0), (100.0, 96.0), (130.0, 90.0), (90.0, 130.0)])
@pytest.mark.parametrize("sigma_db", [1.5, 3.0, 6.0])
def test_percentiles_to_first_order_meet_plain_sampling(bypass_db, noise_db, sigma_db):
    """A search finds its settings by these: p1 within 1.8 dB and the median within 0.9 of a million readings, with the
    level far above the floors, about them and lost in them; p99 within 0.3 where the level is 30 dB above."""
    rng = np.random.default_rng(5)
    steady = np.array([60.0, 80.0, 88.0, 94.0, 100.0, 110.0, 140.0])
    drift = sigma_db * rng.standard_normal(DRAWS)
    bypass = 10 ** (-0.05 * bypass_db) * np.exp(2j * np.pi * rng.random(DRAWS))
    reach = 2.3263 * sigma_db
    floors = {"bypass_db": np.array(bypass_db), "noise_db": np.array(noise_db)}
    p1, p50, p99 = read_percentiles(steady - reach, steady, steady + reach, **floors)
    for place, level in enumerate(steady):
        noise = 10 ** (-0.05 * noise_db) * np.sqrt(0.5) * (rng.standard_normal(DRAWS) + 1j * rng.standard_normal(DRAWS))
        readings = -20.0 * np.log10(np.abs(10 ** (-0.05 * (level + drift)) + bypass + noise))
        expected = np.quantile(readings, (0.01, 0.5, 0.99))
        assert p1[place] == pytest.approx(expected[0], abs=1.8)
        assert p50[place] == pytest.approx(expected[1], abs=0.9)
        if level == 60.0:
            assert p99[place] == pytest.approx(expected[2], abs=0.3)


def test_a_floor_spreads_what_is_near_it():
    """Before it a signal stays, after it is as the last; what a row spreads past the ends of the grid stays there."""
    matrix = np.array([[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.0, 0.5, 0.5]])
    pmf = np.arange(1.0, 7.0)[None, :] / 21.0
    assert Floor(first=1, matrix=matrix).of(pmf)[0] * 21 == pytest.approx([1, 1, 10, 9, 0, 0])
    assert Floor(first=-1, matrix=matrix).of(pmf)[0] * 21 == pytest.approx([10.5, 10.5, 0, 0, 0, 0])
    assert Floor(first=4, matrix=matrix).of(pmf)[0] * 21 == pytest.approx([1, 2, 3, 4, 2.5, 8.5])
    assert Floor(first=6, matrix=matrix).of(pmf) == pytest.approx(pmf)


def test_chances_before_a_floor_are_means_over_what_becomes_of_each_signal():
    """At any points of the grid, some of them given twice as at its ends: the same mean whichever is spread first."""
    rng = np.random.default_rng(2)
    matrix = rng.dirichlet(np.ones(4), 4)
    chance, signals = rng.random((2, 9)), np.eye(9)
    at = np.array([0, 0, 1, 2, 4, 5, 7, 8, 8])
    for first in (-2, 0, 3, 6, 8, 10):
        for share in (0.0, 0.3):
            floor = Floor(first=first, matrix=matrix, share=share)
            assert floor.before(chance, at) == pytest.approx(chance @ floor.of(signals)[at].T)


@pytest.mark.parametrize("steady_db", [60.0, 85.0, 95.0, 100.0, 110.0])
@pytest.mark.parametrize("edge_db", [90.0, 97.0, 101.0])
def test_chance_of_one_reading_is_that_of_rice(steady_db, edge_db):
    """An amplitude in complex Gaussian noise is Rice-distributed: scipy's own law, and plain sampling."""
    noise_db = 100.0
    found = float(reading_beyond(np.array([steady_db]), edge_db, noise_db=noise_db)[0])
    scale = np.sqrt(0.5) * 10 ** (-0.05 * noise_db)
    exact = rice.cdf(10 ** (-0.05 * edge_db), 10 ** (-0.05 * steady_db) / scale, scale=scale)
    assert found == pytest.approx(exact, rel=0.03, abs=1e-7)
    assert found == pytest.approx(np.mean(sampled(steady_db, noise_db) > edge_db), abs=5 * np.sqrt(0.25 / DRAWS))


def test_chance_meets_where_the_gaussian_takes_over():
    """At 20 dB over the noise both forms give the same tail to a few per cent, 0.3 to 1.3 dB off."""
    for edge in (80.3, 80.6, 81.0, 81.3):
        with_gaussian, with_rice = reading_beyond(np.array([80.0 - 1e-9, 80.0 + 1e-9]), edge, noise_db=100.0)
        assert with_gaussian == pytest.approx(with_rice, rel=0.05)


def test_readings_near_the_noise_have_its_mean_power():
    """E|s + n|^2 = |s|^2 + |n|^2; binning a power in dB costs some hundredths of a dB."""
    noise = receiver_noise(GRID, noise_db=100.0, open_db=0.0)
    for steady in (80.0, 95.0, 100.0, 120.0):
        power = noise.read(at(steady))[0] @ 10.0 ** (-0.1 * GRID.centres)
        assert -10 * np.log10(power) == pytest.approx(added_powers_db(steady, 100.0), abs=0.05)


@pytest.mark.parametrize("steady_db", [80.0, 92.0, 100.0, 130.0])
def test_percentiles_of_readings_meet_plain_sampling(steady_db):
    """Of a level that drifts by 1.5 dB, as every level does, down to one far below the noise."""
    noise = receiver_noise(GRID, noise_db=100.0, open_db=0.0)
    found = GRID.quantiles(noise.read(GRID.moved(at(steady_db)[0], sigma=1.5)[None, :]), (0.01, 0.5, 0.99))[0]
    drift = 1.5 * np.random.default_rng(4).standard_normal(DRAWS)
    expected = np.quantile(sampled(steady_db + drift, 100.0), (0.01, 0.5, 0.99))
    assert found == pytest.approx(expected, abs=0.15)


def test_noise_moves_with_the_open_path():
    """An open path 3 dB weaker has its noise 3 dB nearer, at any attenuation."""
    near, far = (receiver_noise(GRID, noise_db=100.0, open_db=o) for o in (-3.0, 0.0))
    assert near.read(at(90.0))[0, 5:-12] == pytest.approx(far.read(at(93.0))[0, 11:-6], abs=1e-12)
    assert above(near, GRID, 94.0)[10:-10] == pytest.approx(above(far, GRID, 97.0)[16:-4], abs=1e-12)


def test_without_noise_a_reading_is_the_steady_signal():
    share = above(None, GRID, 40.0)
    assert share.shape == (GRID.count, PARTS)
    assert share.mean(axis=1)[np.abs(GRID.centres - 40.0) < 0.6] == pytest.approx([0.0, 0.5, 1.0])
    assert set(np.unique(share)) <= {0.0, 0.5, 1.0}


def test_chances_fall_as_the_edge_rises():
    noise = receiver_noise(GRID, noise_db=100.0, open_db=0.0)
    chances = np.stack([above(noise, GRID, e) for e in (60.0, 80.0, 95.0, 110.0)])
    assert np.all(np.diff(chances, axis=0) <= 1e-12)
    assert np.all(np.diff(chances.reshape(4, -1), axis=1) >= -1e-9)


@pytest.mark.parametrize("steady_db", [70.0, 86.0, 94.0])
def test_bypass_at_a_random_phase_meets_plain_sampling(steady_db):
    """Signal 26, 10 and 2 dB above the bypass: six phases against a million, percentiles within a bin; where both are
    nearly equal, the null is 1.8 dB deeper at p95 than six phases see."""
    rng = np.random.default_rng(3)
    pmf = bypass_floor(GRID, bypass_db=96.0, open_db=0.0).of(at(steady_db))
    plain = np.abs(10 ** (-0.05 * steady_db) + 10 ** (-0.05 * 96.0) * np.exp(2j * np.pi * rng.random(DRAWS)))
    expected = np.quantile(-20 * np.log10(plain), (0.05, 0.5, 0.95))
    found = GRID.quantiles(pmf, (0.05, 0.5, 0.95))[0]
    assert found == pytest.approx(expected, abs=0.6 if steady_db < 90 else 2.0)
    power = pmf[0] @ 10.0 ** (-0.1 * GRID.centres)
    assert -10 * np.log10(power) == pytest.approx(added_powers_db(steady_db, 96.0), abs=0.05)


def test_bypass_hides_what_is_weaker():
    """A sheet that passes nothing reads the bypass itself."""
    hidden = bypass_floor(GRID, bypass_db=96.0, open_db=0.0).of(at(150.0))[0]
    assert hidden @ GRID.centres == pytest.approx(96.0, abs=0.1)


def test_one_law_serves_each_edge():
    law = partial(reading_beyond, noise_db=100.0)
    assert law(np.array([[50.0, 150.0]]), 80.0) == pytest.approx(np.array([[0.0, 1.0]]), abs=1e-6)
