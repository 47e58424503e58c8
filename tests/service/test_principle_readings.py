"""Spread from weighted nodes and influences, against draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.signals import (
    Readings,
    air_between,
    film_nodes,
    lot_thickness_deviation,
    moved_by,
    relative_thickness_deviation,
)
from support.principle_cases import predictive, sheet

PAPER = sheet("copy-paper", grammage_gsm=80)
ENDS = [[1.5, 2.5, 7.0], [2.0, 2.0, 2.0]]


@pytest.fixture
def mixture():
    """A constant and both its ends, two settings, three nodes."""
    nominal, low, high = [[1.0, 2.0, 5.0], [2.0, 3.0, 4.0]], [[0.8, 1.7, 4.5], [2.0, 3.2, 4.4]], ENDS
    values = np.array([nominal, low, high])
    return Readings(
        values=values,
        weights=np.array([0.5, 0.4, 0.1]),
        moves={"mass": np.array([[0.18, 0.3]]), "drift": np.array([[0.24, 0.4]])},
    )


def drawn(readings, setting, count=400_000):
    rng = np.random.default_rng(7)
    node = rng.choice(len(readings.weights), size=count, p=readings.weights)
    nominal, low, high = readings.values[:, setting, node]
    # In each draw on the parabola through the three, whose ends hold 90 %.
    z = rng.normal(size=count) / norm.ppf(0.95)
    constant = nominal + 0.5 * (high - low) * z + (0.5 * (high + low) - nominal) * z**2
    return constant + rng.normal(size=count) * readings.sigma[0, setting]


def test_percentiles_against_draws(mixture):
    span = mixture.span()
    for setting in (0, 1):
        expected = np.quantile(drawn(mixture, setting), [0.01, 0.5, 0.99])
        assert [span.p1[setting], span.p50[setting], span.p99[setting]] == pytest.approx(expected, abs=0.03)


def test_distribution_against_draws(mixture):
    grid = SignalGrid(low=-5.0, step=0.02, count=1000)
    spread = mixture.spread()
    sample = drawn(mixture, 0)
    assert predictive(spread, grid)[0] @ grid.centres == pytest.approx(sample.mean(), abs=0.01)
    quantiles = grid.quantiles(predictive(spread, grid), (0.05, 0.5, 0.95))[0]
    assert quantiles == pytest.approx(np.quantile(sample, [0.05, 0.5, 0.95]), abs=0.03)


def test_causes_add_by_the_root_of_the_sum_of_squares(mixture):
    assert mixture.sigma == pytest.approx(np.array([[0.3, 0.5]] * 3))


def test_causes_are_named_with_nodes_and_variants(mixture):
    causes = mixture.causes(nodes="trapped-air", variants="alloy")
    assert (causes["mass"], causes["drift"]) == pytest.approx((0.18, 0.24))
    # nodes 1, 2 and 5 with 0.5, 0.4 and 0.1: mean 1.8, variance 0.64 x 0.5 + 0.04 x 0.4 + 10.24 x 0.1
    assert causes["trapped-air"] == pytest.approx(np.sqrt(1.36))
    # means 1.8 between 1.53 and 2.45: slope 0.46 and curvature 0.19 over 1.645 standard deviations
    slope, bend = 0.46 / 1.644854, 0.19 / 1.644854**2
    assert causes["alloy"] == pytest.approx(np.sqrt(slope**2 + 2.0 * bend**2))


def test_influences_are_exact_where_they_are_linear_and_keep_their_sign():
    def read(*, mass=0.0, warmth=0.0):
        return np.array([10.0 + 3.0 * mass - 4.0 * warmth, 20.0 + mass])

    moves = moved_by(read, {"mass": 0.5, "warmth": 1.0})
    assert moves["mass"] == pytest.approx([1.5, 0.5])
    assert moves["warmth"] == pytest.approx([-4.0, 0.0])


def test_film_nodes_keep_the_percentiles():
    """The body's weighted nodes against the log-normal they stand for, and the loose share as given."""
    d = replace(PAPER.trapped_air, least_um=0.0)
    film, weight = film_nodes(d)
    assert weight.sum() == pytest.approx(1.0)
    loose = film > d.p95_um * 1e-6 * (1 + 1e-9)
    assert weight[-4:].sum() == pytest.approx(d.loose_share)
    assert loose[-4:].all()
    body = np.log(film[:-4] * 1e6 / d.p50_um)
    share = weight[:-4] / weight[:-4].sum()
    above = np.log(d.p95_um / d.p50_um) / norm.ppf(0.95)
    below = np.log(d.p50_um / d.p5_um) / norm.ppf(0.95)
    assert share @ np.where(body > 0, body, 0.0) ** 2 == pytest.approx(0.5 * above**2, rel=0.02)
    assert share @ np.where(body < 0, body, 0.0) ** 2 == pytest.approx(0.5 * below**2, rel=0.02)


@pytest.mark.parametrize(("contact", "share_without_air"), [("air", 0.0), ("partial", 0.5), ("bonded", 1.0)])
def test_contact_decides_on_the_air(contact, share_without_air):
    film, weight = air_between(replace(PAPER, contact=contact))
    assert weight[film == 0.0].sum() == pytest.approx(share_without_air)
    assert weight.sum() == pytest.approx(1.0)


def test_formation_averages_over_the_spot():
    measured = sheet("copy-paper", grammage_gsm=80, thickness_um=104)
    wide, usual, small, tiny = (relative_thickness_deviation(measured, spot_mm=mm) for mm in (1000.0, 5.0, 2.5, 0.1))
    # A quarter of the tolerance's variance lies within a lot, the rest between lots.
    whole = measured.thickness_tolerance_pct / 100 / norm.ppf(0.975)
    assert wide == pytest.approx(0.5 * whole, rel=1e-3)
    assert np.hypot(wide, lot_thickness_deviation(measured)) == pytest.approx(whole, rel=1e-3)
    assert wide < usual < small
    assert small == tiny


def test_a_thickness_that_follows_from_the_density_is_as_uncertain_as_that():
    """Of 80 g/m2 alone, lots differ by the tolerance of the grammage and by the range of densities of the grade."""
    (follows,) = (a for a in PAPER.assumptions if a.code == "thickness-from-density")
    low, nominal, high = (float(follows.values[f"density{end}_kg_m3"]) for end in ("_low", "", "_high"))
    density = 0.5 * (high - low) / nominal / norm.ppf(0.95)
    mass = np.sqrt(0.75) * PAPER.mass_tolerance_pct / 100 / norm.ppf(0.975)
    assert lot_thickness_deviation(PAPER) == pytest.approx(np.hypot(mass, density), rel=1e-3)
    measured = sheet("copy-paper", grammage_gsm=80, thickness_um=104)
    assert relative_thickness_deviation(PAPER, spot_mm=5.0) == relative_thickness_deviation(measured, spot_mm=5.0)
