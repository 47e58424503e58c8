"""The air between two sheets: its distribution on the films that are computed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.response import Response
from sheetmargin_service.acoustics.trapped_air import double_transmission
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.principles.draws import COUNT, drawn
from sheetmargin_service.principles.ultrasonic.films import (
    AIR_FACTOR,
    FILM_M,
    Films,
    drawn_film_weights,
    film_weights,
    share_below,
)
from support.principle_cases import sheet

PAPER = TrappedAir(p5_um=8.0, p50_um=25.0, p95_um=80.0, loose_share=0.02, loose_max_um=1000.0, source="illustrative")
BLOCKED = TrappedAir(p5_um=1.0, p50_um=3.0, p95_um=15.0, loose_share=0.01, loose_max_um=200.0, source="illustrative")
AIRS = {material.id: material.trapped_air for material in load_library().materials.values()}


def sampled(air: TrappedAir, *, draws: int = 400_000):
    """Films in m drawn from the distribution as `TrappedAir` states it."""
    rng = np.random.default_rng(7)
    z = rng.standard_normal(draws)
    width = np.where(z < 0.0, np.log(air.p50_um / air.p5_um), np.log(air.p95_um / air.p50_um)) / 1.6448536
    body = air.p50_um * np.exp(width * z)
    loose = air.p95_um * (air.loose_max_um / air.p95_um) ** rng.random(draws)
    return 1e-6 * np.where(rng.random(draws) < air.loose_share, loose, body)


def test_percentiles_of_the_body_are_where_they_are_stated():
    body = replace(PAPER, loose_share=0.0)
    for film_um, share in ((8.0, 0.05), (25.0, 0.5), (80.0, 0.95)):
        assert float(share_below(body, film_m=1e-6 * film_um)) == pytest.approx(share, abs=1e-9)


def test_loose_branch_lies_between_p95_and_the_loosest():
    assert float(share_below(PAPER, film_m=80e-6)) == pytest.approx(0.98 * 0.95)
    middle = 1e-6 * np.sqrt(80.0 * 1000.0)
    body_there = float(share_below(replace(PAPER, loose_share=0.0), film_m=middle))
    assert float(share_below(PAPER, film_m=middle)) == pytest.approx(0.98 * body_there + 0.01)
    assert float(share_below(PAPER, film_m=1e-2)) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("air", [PAPER, BLOCKED], ids=["paper", "blocked"])
def test_shares_meet_plain_sampling(air):
    drawn = sampled(air)
    for film_um in (0.5, 2.0, 5.0, 12.0, 30.0, 90.0, 300.0):
        expected = np.mean(drawn < 1e-6 * film_um)
        error = 4.0 * np.sqrt(expected * (1.0 - expected) / len(drawn)) + 1e-5
        assert float(share_below(air, film_m=1e-6 * film_um)) == pytest.approx(expected, abs=error)


@pytest.mark.parametrize("every", [1, 2])
def test_weights_sum_to_one_for_every_material(every):
    for name, air in AIRS.items():
        index, weight = film_weights(air, every=every)
        assert weight.shape == index.shape, name
        assert weight.sum() == pytest.approx(1.0, abs=1e-12), name
        assert np.all(weight >= 0.0), name
        assert np.all(np.diff(index) > 0), name
        assert every == 1 or np.all(index % every == 0), name


@pytest.mark.parametrize("air", [PAPER, BLOCKED], ids=["paper", "blocked"])
def test_weights_have_the_moments_of_plain_sampling(air):
    """Of the logarithm, whose lumps are 0.24 apart."""
    drawn = np.log(sampled(air))
    index, weight = film_weights(air)
    lumps = np.log(FILM_M[index])
    mean = weight @ lumps
    assert mean == pytest.approx(drawn.mean(), abs=0.01)
    assert np.sqrt(weight @ (lumps - mean) ** 2) == pytest.approx(drawn.std(), rel=0.02)


def test_drawn_films_lie_where_they_were_drawn():
    """Medians move with the draw, by AIR_FACTOR at the ends of 90 %, and so does the loose share."""
    index, _ = film_weights(PAPER)
    weights = drawn_film_weights(PAPER)
    assert weights.shape == (COUNT, len(index))
    assert weights.sum(axis=1) == pytest.approx(np.ones(COUNT))
    mean = weights @ np.log(FILM_M[index])
    slope = np.polyfit(drawn("film"), mean, 1)[0]
    assert slope == pytest.approx(np.log(AIR_FACTOR) / 1.6448536, rel=0.05)
    loose = weights[:, FILM_M[index] > 1e-6 * PAPER.p95_um * AIR_FACTOR**2].sum(axis=1)
    assert np.corrcoef(np.log(loose), drawn("loose"))[0, 1] > 0.7


def test_a_share_of_loose_sheets_stays_a_share():
    """Three times 40 per cent is no more than half."""
    weights = drawn_film_weights(replace(PAPER, loose_share=0.4))
    assert weights.sum(axis=1) == pytest.approx(np.ones(COUNT))
    assert weights.min() >= 0.0


def test_no_material_hides_doubles_below_the_thinnest_film():
    """What is thinner than the thinnest film counts as that film: a few in a million of any material's doubles."""
    for name, air in AIRS.items():
        assert float(share_below(air, film_m=FILM_M[0])) < 5e-6, name


def test_no_material_has_films_beyond_the_thickest():
    for name, air in AIRS.items():
        assert 1e-6 * max(air.loose_max_um, 1.01 * AIR_FACTOR * air.p95_um) < FILM_M[-1], name


FREQUENCY_HZ = np.array([[200e3]])
SINES = np.linspace(0.0, 0.9, 7)


def films_at(sines):
    return Films(air=humid_air(), frequency_hz=FREQUENCY_HZ[:, 0], sin_theta=sines)


def parts(film):
    uneven = film.uneven
    changes = (uneven.through, uneven.back, uneven.around)
    return film.through, film.back, film.around, *changes, uneven.kept, uneven.wide


def test_the_thinnest_film_is_as_good_as_not_there():
    films = films_at(SINES)
    usual = films.between(np.arange(len(FILM_M)))
    assert usual.through.shape == (len(FILM_M), 1, len(SINES))
    assert usual.through[0] == pytest.approx(np.ones((1, len(SINES))), abs=0.02)
    assert usual.back[0] == pytest.approx(np.zeros((1, len(SINES))), abs=0.02)
    assert usual.around[0] == pytest.approx(-np.ones((1, len(SINES))), abs=0.02)


def test_some_frequencies_are_a_part_of_the_table():
    films = Films(air=humid_air(), frequency_hz=np.array([180e3, 200e3, 220e3]), sin_theta=SINES)
    some, index = films.at_frequencies(np.array([1])), np.array([3, 20])
    alone = films_at(SINES)
    for part, own in zip(parts(some.between(index)), parts(alone.between(index)), strict=True):
        assert part == pytest.approx(own, rel=1e-12)


def test_a_film_of_half_a_wavelength_that_varies_within_the_spot_does_not_open_a_window():
    """Two limp sheets of 80 g/m2, 0.86 mm apart: level with one sheet where the film is even, with a variation of a
    fifth of its thickness at least 25 dB below."""
    air = humid_air()
    films = films_at(np.array([0.0]))
    nearest = int(np.argmin(np.abs(FILM_M - 0.86e-3)))
    index = np.arange(nearest - 1, nearest + 2)
    ratio = 1j * np.pi * 200e3 * 0.08 / air.impedance_pa_s_per_m
    sheet = Response(
        transmission=np.array([[[1.0 / (1.0 + ratio)]]]),
        reflection=np.array([[[ratio / (1.0 + ratio)]]]),
    )
    two = double_transmission(first=sheet, second=sheet, film=films.between(index))
    level = 20.0 * np.log10(np.abs(two[:, 0, 0]))
    single = 20.0 * np.log10(abs(1.0 / (1.0 + ratio)))
    assert np.all(level < single - 25.0)


@pytest.mark.parametrize("index", [[7], [3, 4, 5], [2, 4, 6], [1, 2, 9]])
def test_films_are_told_by_their_place(index):
    films = films_at(SINES)
    for some, every in zip(parts(films.between(np.array(index))), parts(films.table), strict=True):
        np.testing.assert_array_equal(some, every[index])


def test_two_rough_faces_come_no_nearer_than_their_roughness():
    """What would be thinner is as thin as that, of the sheet as it is and of every draw of it."""
    coated = sheet("coated-paper", grammage_gsm=60).trapped_air
    assert (coated.p5_um, coated.least_um) == (3.0, 1.5)
    assert float(share_below(coated, film_m=1.49e-6)) == 0.0
    assert float(share_below(coated, film_m=1.51e-6)) == pytest.approx(
        float(share_below(replace(coated, least_um=0.0), film_m=1.51e-6))
    )
    index, weights = film_weights(coated)
    thin = FILM_M[index] < 1.2e-6
    assert weights[thin].max(initial=0.0) < 1e-9
    factors = 1.5 ** (drawn("film") / 1.6448536)
    by_draw = drawn_film_weights(coated)
    assert not by_draw[(FILM_M[index] * 1.3 < 1.5e-6 * factors[:, None])].any()
    assert sheet("pet", thickness_um=12).trapped_air.least_um == 0.0
