"""What is drawn for a job: the draws themselves, the chance over them, and levels in a draw against the sheet as it is
there."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm, qmc
from sheetmargin_service import principles
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles import draws
from sheetmargin_service.principles.draws import (
    COUNT,
    DRIFTS,
    REACH,
    UNKNOWNS,
    chance_of,
    drawn,
    drift_weights,
    passing,
    weighted_quantiles,
)
from sheetmargin_service.principles.protocol import Spread
from sheetmargin_service.principles.ultrasonic.films import film_weights
from sheetmargin_service.principles.ultrasonic.spreads import GRID
from sheetmargin_service.selection.misreads import Readings, rates_of
from support.forget import forget_draws
from support.principle_cases import class_model, predictive, sheet
from support.worlds import in_world


def test_the_points_are_those_that_would_be_written():
    """By scipy.stats.qmc, a general library."""
    shipped = (resources.files(principles) / draws.POINTS).read_text(encoding="utf-8")
    assert shipped == draws.points_written()


def test_draws_are_standard_normal_and_apart():
    table = np.stack([drawn(name) for name in UNKNOWNS])
    assert table.shape == (len(UNKNOWNS), COUNT)
    assert table.mean(axis=1) == pytest.approx(0.0, abs=0.02)
    assert table.std(axis=1) == pytest.approx(1.0, abs=0.03)
    assert np.abs(table).max() <= REACH
    assert np.abs(np.corrcoef(table) - np.eye(len(UNKNOWNS))).max() < 0.15
    with pytest.raises(ValueError, match="not in"):
        drawn("weather")


def test_the_chance_is_integrated_over_drift():
    """What passes up to a drift: the normal law, though drift is computed at seventeen places."""
    for edge in (-2.7, -1.1, 0.0, 0.3, 1.96):
        assert chance_of((DRIFTS - edge)[None, :]) == pytest.approx(float(ndtr(edge)), abs=0.004)
        assert chance_of((edge - DRIFTS)[None, :]) == pytest.approx(float(ndtr(-edge)), abs=0.004)


def test_the_chance_is_the_mean_over_draws():
    excess = np.stack([np.full(len(DRIFTS), value) for value in (-1.0, 0.0, 2.0, 3.0)])
    assert passing(excess) == pytest.approx([1.0, 1.0, 0.0, 0.0])
    assert chance_of(excess) == 0.5


def test_the_chance_is_known_to_a_hundredth():
    """A target on a sum of four unknowns and drift, whose law is known: the standard error over chances from 5 to 95 %
    is below 0.01."""
    names = ("stiffness", "mass", "film", "blocked")
    weights = np.array([1.0, 0.7, 0.5, 0.4])
    total = weights @ np.stack([drawn(name) for name in names])
    width = np.sqrt(weights @ weights + 0.8**2)
    errors = []
    for chance in (0.05, 0.2, 0.5, 0.8, 0.9, 0.95):
        edge = width * float(weighted_quantiles(np.linspace(-8, 8, 100_001), _normal(), (chance,))[0])
        errors.append(chance_of(total[:, None] + 0.8 * DRIFTS - edge) - chance)
    assert np.sqrt(np.mean(np.square(errors))) < 0.01


def _normal() -> np.ndarray:
    density = np.exp(-0.5 * np.linspace(-8, 8, 100_001) ** 2)
    return density / density.sum()


def _forget():
    draws._table.cache_clear()
    forget_draws()


@pytest.mark.parametrize(
    ("class_id", "material", "size", "band"),
    [
        ("ultrasonic-300k", "copy-paper", {"grammage_gsm": 80}, (26, 58)),
        ("ultrasonic-400k", "coated-paper", {"grammage_gsm": 150}, (30, 62)),
        ("ultrasonic-180k", "coated-board", {"grammage_gsm": 300}, (30, 60)),
        ("ultrasonic-180k", "aluminium", {"thickness_um": 300}, (40, 75)),
    ],
)
def test_the_chance_hardly_depends_on_the_net_of_draws(class_id, material, size, band, monkeypatch):
    """Eight other nets of 256 points: the chance's standard error is a hundredth at most, at targets that are met with
    a chance from 5 to 95 % too."""
    a_sheet, readings = sheet(material, **size), Readings(single=3, double=3, no_sheet=3, run=1)
    chances = []
    for seed in range(100, 108):
        monkeypatch.setattr(draws, "SEED", seed)
        _forget()
        made = class_model(class_id)
        middle = len(made.settings.gap_mm) // 2
        square = int(np.flatnonzero(made.settings.tilt_deg[: middle + 1] == 0.0)[-1])
        rates = rates_of(made.distribution(a_sheet, square), GRID, low=band[0], high=band[1], readings=readings)
        missed = np.log10(np.maximum(rates["double_as_single"], 1e-15))
        chances.append([chance_of(missed - np.log10(1e-6 * target)) for target in (10.0, 100.0, 1e3, 1e4)])
    monkeypatch.undo()
    _forget()
    print(np.mean(chances, axis=0).round(2), np.std(chances, axis=0, ddof=1).round(4))
    assert np.std(chances, axis=0, ddof=1).max() < 0.01


def test_drift_has_a_normal_weight():
    assert drift_weights().sum() == pytest.approx(1.0)
    assert drift_weights() @ DRIFTS**2 == pytest.approx(1.0, abs=1e-3)


STEEP = {
    "stiffness": (np.array([0.3, 0.4]), np.array([0.0, -1.6])),
    "loss": (np.array([0.3, 1.8]), np.array([0.0, 0.6])),
    "permeance": (np.array([-1.0, -4.3]), np.array([-0.5, -4.4])),
    "mass": (np.array([1.0, 2.0]), np.zeros(2)),
}
"""Of a porous board at a steep tilt."""


def test_a_far_percentile_does_not_hang_on_a_few_draws():
    """Against 32,768 draws of what is not known: 1 % and the median within 0.1 dB, 99 % within 0.6, where two unknowns
    are bent apart. The usual draws leave 1 % off by 1 dB."""
    spread = Spread(nominal=np.array([45.0, 75.0]), weights=np.array([[0.002, 0.998]]), blur=1.4, unknowns=STEEP)
    *draws, noise = norm.ppf(qmc.Sobol(d=5, rng=np.random.default_rng(4)).random(2**15)).T
    values = spread.nominal + 1.4 * noise[:, None]
    for drawn_z, (slope, bend) in zip(draws, STEEP.values(), strict=True):
        z = (np.clip(drawn_z, -REACH, REACH) if bend.any() else drawn_z)[:, None]
        values = values + z * slope + z**2 * bend
    every = weighted_quantiles(values.ravel(), np.tile(spread.weights[0], len(values)) / len(values), (0.01, 0.5, 0.99))
    found = GRID.quantiles(spread.steady(GRID)[None, :], (0.01, 0.5, 0.99))[0]
    assert found[:2] == pytest.approx(every[:2], abs=0.1)
    assert found[2] == pytest.approx(every[2], abs=0.6)


def test_a_wider_tolerance_raises_no_percentile_of_doubles():
    """Where air through pores makes the far end: what mass is drawn with it must not decide."""
    made = class_model("ultrasonic-300k")
    setting = int(np.flatnonzero((made.settings.gap_mm == 49.0) & (made.settings.tilt_deg == 45.0))[0])
    ends = []
    for tolerance in (0.0, 4.0, 8.0, 12.0):
        blotting = sheet("blotting-paper", thickness_um=444, thickness_tolerance_pct=tolerance)
        spread = made.distribution(blotting, setting).double
        ends.append(GRID.quantiles(predictive(spread, GRID), (0.01,))[0, 0])
    assert np.all(np.diff(ends) < 0.05), ends


def in_draw(a_sheet: Sheet, number: int) -> Sheet:
    """The sheet as it is in one of the draws: nominal in what was drawn for it."""
    return in_world(a_sheet, {name: float(drawn(name)[number]) for name in UNKNOWNS})


LEVELS = {
    "copy paper": ("ultrasonic-300k", sheet("copy-paper", grammage_gsm=80), 35.0, 0.0, 0.2),
    "copy paper, tilted": ("ultrasonic-220k-continuous", sheet("copy-paper", grammage_gsm=80), 40.0, 30.0, 0.3),
    "coated paper": ("ultrasonic-400k", sheet("coated-paper", grammage_gsm=150), 26.0, 0.0, 0.3),
    "gloss art": ("ultrasonic-180k", sheet("coated-paper", grammage_gsm=350), 45.0, 0.0, 0.4),
    "coated board": ("ultrasonic-220k-continuous", sheet("coated-board", grammage_gsm=300), 40.0, 35.0, 0.4),
    "card": ("ultrasonic-180k", sheet("pvc-rigid", thickness_um=760), 45.0, 0.0, 0.1),
    "card, tilted": ("ultrasonic-180k", sheet("pvc-rigid", thickness_um=760), 45.0, 30.0, 0.3),
    "greyboard near its thickness resonance": (
        "ultrasonic-300k",
        sheet("greyboard", thickness_um=1500),
        35.0,
        0.0,
        0.8,
    ),
    "polyester": ("ultrasonic-400k", sheet("pet", thickness_um=100), 29.5, 0.0, 0.1),
    "aluminium": ("ultrasonic-180k", sheet("aluminium", thickness_um=1000), 45.0, 15.0, 0.1),
}
"""With the greatest error in dB that was found over these draws, rounded up. The aim is 0.3, which two greyboards near
a resonance miss, and by little two thick papers and boards."""


@pytest.mark.parametrize("name", LEVELS)
def test_levels_in_a_draw_are_those_of_the_sheet_as_it_is_there(name):
    """Parabolas through the nominal case and both ends, against waves computed with the numbers of five draws; of two
    sheets the mean over their films, and its root mean square."""
    class_id, a_sheet, gap_mm, tilt_deg, most_db = LEVELS[name]
    made = class_model(class_id)
    s = made.settings
    setting = int(np.argmin(np.abs(s.gap_mm - gap_mm) + 10.0 * np.abs(s.tilt_deg - tilt_deg)))
    distribution = made.distribution(a_sheet, setting)
    index, _ = film_weights(a_sheet.trapped_air)
    for number in (0, 17, 91, 130, 200):
        there = in_draw(a_sheet, number)
        sheet_levels = class_model(class_id).levels_of(there)
        one = float(sheet_levels.single.branches.attenuation_db[0, 0, setting])
        two = sheet_levels.at_settings([setting]).double.attenuation_db[0, :, 0]
        own, weight = film_weights(there.trapped_air)
        common = np.isin(own, index)
        found = as_set(distribution.double).values[number, : len(index)][np.isin(index, own)]
        off = np.sqrt((weight[common] @ (found - two[common]) ** 2) / weight[common].sum())
        single = float(as_set(distribution.single).values[number, 0])
        print(f"{name:40s} {number:4d} one {single - one:+.2f} two {off:.2f} dB")
        assert single == pytest.approx(one, abs=most_db)
        assert off < most_db


def as_set(spread: Spread) -> Spread:
    """The same of a pair that stands as it is told."""
    return replace(
        spread, unknowns={name: bends for name, bends in spread.unknowns.items() if name not in ("gap", "tilt")}
    )
