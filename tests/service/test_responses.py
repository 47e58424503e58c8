"""From a sheet to its plane-wave response: cases, piles, contacts, sheets that air can pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import qmc
from sheetmargin.contract.job import Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.trapped_air import double_transmission, flat_film, uneven_film
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.stiffness import ENDS, elastic_constants
from sheetmargin_service.principles.ultrasonic.films import FILM_M, Films, film_weights
from sheetmargin_service.principles.ultrasonic.responses import (
    DRAWS,
    MASS_STEP,
    WATER_M,
    Case,
    SheetModel,
    draw_films,
    drawn_cases,
    first_order_cases,
    strata,
    wave_unknowns,
)
from support.multilayer import solve_by_eigenvalues
from support.principle_cases import sheet

AIR = humid_air()
FREQUENCY = np.array([[120e3], [300e3]])
SINES = np.sin(np.radians([0.0, 10.0, 25.0, 40.0]))
FILMS = Films(air=AIR, frequency_hz=FREQUENCY[:, 0], sin_theta=SINES)


NOMINAL = (Case(),)


def model(a_sheet, cases=NOMINAL):
    return SheetModel(sheet=a_sheet, air=AIR, cases=cases)


def construction(name, **spec):
    return resolve_sheet(SheetSpec(construction=name, **spec), load_library())


def db(transmission):
    return -20.0 * np.log10(np.abs(transmission))


def one(a_sheet, cases=NOMINAL):
    """(C, 1, F, S)"""
    return model(a_sheet, cases).transmission_of_stack([], FREQUENCY, SINES)


def between(draws):
    return [FILMS.between(joint) for joint in np.array(draws)]


def two(a_sheet, film_um):
    nearest = np.argmin(np.abs(np.log(FILM_M / (1e-6 * film_um))))
    return model(a_sheet).transmission_of_stack(between([[nearest]]), FREQUENCY, SINES)


PAPER = sheet("copy-paper", grammage_gsm=80)
CARD = sheet("pvc-rigid", thickness_um=760)


def test_cases_are_the_ends_of_what_is_not_known():
    unknowns = wave_unknowns(CARD)
    assert tuple(unknowns) == ("stiffness", "loss", "mass", "thickness")
    for name in ("stiffness", "loss"):
        assert tuple(c.variants for c in unknowns[name]) == tuple((end,) for end in ENDS[name])
    assert [c.mass_factor for c in unknowns["mass"]] == [1.0 - MASS_STEP, 1.0 + MASS_STEP]


def test_the_permeance_of_a_grade_is_not_known_and_that_of_a_stock_is():
    assert tuple(wave_unknowns(PAPER)) == ("stiffness", "loss", "mass", "thickness", "permeance")
    permeance = PAPER.layers[0].material.porous.permeance_um_per_pa_s
    assert [c.permeance_factor * permeance.nominal for c in wave_unknowns(PAPER)["permeance"]] == [
        permeance.low,
        permeance.high,
    ]
    measured = sheet("copy-paper", grammage_gsm=80, air_permeance_um_per_pa_s=3.0)
    assert tuple(wave_unknowns(measured)) == ("stiffness", "loss", "mass", "thickness")


def test_each_case_is_computed_with_its_own_numbers():
    """All cases at once are what each gives by itself."""
    cases = first_order_cases(CARD)
    together = one(CARD, cases)
    for index, case in enumerate(cases):
        assert together[index] == pytest.approx(one(CARD, (case,))[0], rel=1e-12)
    assert len({complex(t) for t in together[:, 0, 0, 3]}) == len(cases)


def test_picked_places_are_points_of_the_grid():
    made = model(CARD, first_order_cases(CARD))
    grid = made.transmission_of_stack([], FREQUENCY, SINES)
    case = np.array([4, 0])
    pieces = made.picked(case).transmission_of_stack([], FREQUENCY[[1, 0]], np.tile(SINES, (2, 1)))
    assert pieces == pytest.approx(grid[case, 0, [1, 0]], rel=1e-12)


def test_what_is_known_is_not_computed_again():
    made = model(CARD, first_order_cases(CARD)).known_at(FREQUENCY, SINES)
    assert made.ply(FREQUENCY, SINES) is made.usual.ply
    assert made.first(2).ply(FREQUENCY, SINES).transmission.shape[0] == 2
    other = SINES.copy()
    assert made.ply(FREQUENCY, other).transmission == pytest.approx(made.usual.ply.transmission, rel=1e-12)


def test_more_mass_weakens_a_limp_sheet_by_the_mass_law():
    lighter, heavier = db(one(PAPER, (Case(mass_factor=0.9), Case(mass_factor=1.1))))[:, 0, 0, 0]
    assert heavier - lighter == pytest.approx(20 * np.log10(1.1 / 0.9), abs=0.1)


def test_a_stack_of_two_is_two_sheets_and_a_film():
    draws = np.array([[5, 15, 30]])
    made = model(PAPER)
    quick = made.transmission_of_stack(between(draws), FREQUENCY, SINES)
    ply = made.ply(FREQUENCY, SINES)
    whole = double_transmission(first=ply, second=ply, film=FILMS.between(draws[0]))
    displaced = 2e-6 * PAPER.thickness_um
    turn = np.exp(2j * np.pi * FREQUENCY / AIR.sound_speed_m_per_s * displaced * np.sqrt(1 - SINES**2))
    assert quick == pytest.approx(whole * turn, rel=1e-9)


def test_a_stack_of_three_reads_the_same_from_both_ends():
    """Reciprocity: films 8 and 20 between three sheets, in either order."""
    made = model(CARD)
    forth = made.transmission_of_stack(between([[8], [20]]), FREQUENCY, SINES)
    back = made.transmission_of_stack(between([[20], [8]]), FREQUENCY, SINES)
    assert forth == pytest.approx(back, rel=1e-9)


@pytest.mark.parametrize("joints", [1, 2])
def test_a_flat_stack_is_one_with_films_that_hardly_vary(joints):
    film_m = np.array([[4e-6, 60e-6], [20e-6, 8e-6]])[:joints]
    films = [
        uneven_film(air=AIR, thickness_m=f[:, None, None], variation=1e-6, frequency_hz=FREQUENCY, sin_theta=SINES)
        for f in film_m
    ]
    made = model(CARD)
    flat = made.transmission_of_flat_stack(film_m, FREQUENCY, SINES)
    assert flat == pytest.approx(made.transmission_of_stack(films, FREQUENCY, SINES), rel=1e-6)


@pytest.mark.parametrize("name", ["card", "label"])
def test_the_halves_of_a_pair_share_its_poles(name):
    """1/T2 is the product of the halves' reciprocals and something smooth: their product over T2 is the same for any
    sheet, that of a film by itself."""
    a_sheet = CARD if name == "card" else construction("label-paper")
    film_m, made = np.array([5e-6, 90e-6]), model(a_sheet)
    angles = np.sin(np.linspace(0.0, 0.7, 40) + 0.03j)
    first, second = made.halves_of_flat_pair(film_m, FREQUENCY, angles)
    rest = made.transmission_of_flat_stack(film_m[None], FREQUENCY, angles) / (first * second)
    displaced = np.exp(
        2j * np.pi * FREQUENCY / AIR.sound_speed_m_per_s * 2e-6 * a_sheet.thickness_um * np.sqrt(1.0 - angles**2)
    )
    at = {"air": AIR, "frequency_hz": FREQUENCY, "sin_theta": angles}
    film = flat_film(thickness_m=film_m[:, None, None], **at)
    np.testing.assert_allclose(rest / displaced * film.through, np.ones_like(rest), rtol=1e-9)


def test_wavelengths_across_a_sheet_are_counted_by_its_slowest_wave():
    """Rigid PVC of the library: shear, sqrt(G/rho); two layers one after the other."""
    layer = CARD.layers[0]
    c55 = elastic_constants(material=layer.material, density_kg_m3=layer.density_kg_m3)[3].real
    turns = model(CARD, first_order_cases(CARD)).turns(FREQUENCY[:, 0])
    assert turns.shape == (9, 2)
    assert turns[0] == pytest.approx(760e-6 * FREQUENCY[:, 0] / np.sqrt(c55 / layer.density_kg_m3))
    label = construction("label-paper")
    alone = sum(model(replace(label, layers=(one,))).turns(FREQUENCY[:, 0]) for one in label.layers)
    assert model(label).turns(FREQUENCY[:, 0]) == pytest.approx(alone)


def test_each_ply_more_weakens_a_stack_of_paper():
    levels = [db(one(PAPER))]
    for joints in (1, 2, 3):
        draws = np.full((joints, 1), 25, dtype=np.intp)
        levels.append(db(model(PAPER).transmission_of_stack(between(draws), FREQUENCY, SINES)))
    assert np.all(np.diff([level[0, 0, :, 0] for level in levels], axis=0) > 10.0)


def test_bonded_plies_are_one_plate_of_their_thickness():
    made = model(CARD)
    thick = sheet("pvc-rigid", thickness_um=2 * 760)
    assert made.bonded(2, FREQUENCY, SINES) == pytest.approx(one(thick), rel=1e-6)
    assert made.bonded(1, FREQUENCY, SINES) == pytest.approx(one(CARD), rel=1e-9)


def test_bonded_laminates_meet_an_independent_solution():
    laminate = construction("label-paper")
    made = model(laminate)
    bonded = made.bonded(2, FREQUENCY, SINES)
    layers = [replace(layer, **plain(layer)) for layer in made._layers()] * 2
    for row, frequency in enumerate(FREQUENCY[:, 0]):
        for column, sine in enumerate(SINES):
            _, expected = solve_by_eigenvalues(layers, air=AIR, frequency_hz=frequency, sin_theta=sine)
            thickness = 2e-6 * laminate.thickness_um
            turn = 2 * np.pi * frequency / AIR.sound_speed_m_per_s * thickness * np.sqrt(1 - sine**2)
            assert bonded[0, 0, row, column] == pytest.approx(expected * np.exp(1j * turn), rel=1e-6)


def plain(layer):
    """A layer's arrays of one case as numbers."""
    names = ("thickness_m", "c11_pa", "c13_pa", "c33_pa", "c55_pa")
    return {name: np.asarray(getattr(layer, name)).ravel()[0] for name in names}


def test_thin_air_lies_between_bonded_and_thick_air():
    """At 120 kHz, square on: bonded, 2 um, 20 um and 200 um of air between two sheets of office paper."""
    bonded = db(model(PAPER).bonded(2, FREQUENCY, SINES))[0, 0, 0, 0]
    apart = [db(two(PAPER, film))[0, 0, 0, 0] for film in (20.0, 60.0, 200.0)]
    single = db(one(PAPER))[0, 0, 0, 0]
    assert single < bonded < apart[0] < apart[1] < apart[2]
    assert bonded - single == pytest.approx(6.0, abs=0.6)


def test_resonance_of_two_light_sheets_on_their_air():
    """12 um of polyester at 120 kHz resonates on some 18 um of air: two are louder than one there. The thinnest film
    leaves a sheet of double mass."""
    film = sheet("pet", thickness_um=12)
    single = db(one(film))[0, 0, 0, 0]
    at = {um: db(two(film, um))[0, 0, 0, 0] for um in (0.1, 18.0, 100.0)}
    assert at[0.1] == pytest.approx(single + 6.0, abs=0.6)
    assert at[18.0] < single
    assert at[100.0] > single + 6.0


def test_water_couples_like_a_bond_while_it_is_thin():
    """15 um of water adds its mass; none of it is the welded plate, but for shear, which water does not carry: square
    on it does not matter."""
    made = model(CARD)
    wet = db(made.wet(np.array([1e-9, 15e-6]), FREQUENCY, SINES))[0, :, :, 0]
    bonded = db(made.bonded(2, FREQUENCY, SINES))[0, 0, :, 0]
    assert wet[0] == pytest.approx(bonded, abs=0.01)
    assert wet[1] == pytest.approx(bonded, abs=0.5)
    assert len(WATER_M) == 3
    assert np.all(db(made.wet(WATER_M, FREQUENCY, SINES))[0, :, :, 0] > db(one(CARD))[0, 0, :, 0])


def test_two_wet_sheets_slide_on_water():
    """Tilted, two wet sheets bend apart from each other; a welded pair is stiffer."""
    made = model(CARD)
    wet = db(made.wet(np.array([1e-9]), FREQUENCY, SINES))[0, 0, :, 3]
    bonded = db(made.bonded(2, FREQUENCY, SINES))[0, 0, :, 3]
    assert np.max(np.abs(wet - bonded)) > 3.0


def test_tissue_is_nearly_transparent_one_ply_or_two():
    assert np.all(db(one(sheet("tissue", grammage_gsm=17))) < 6.0)
    assert np.all(db(one(construction("tissue-two-ply"))) < 12.0)


def test_layers_that_air_can_pass_share_the_flow_resistance():
    """Two like layers on each other, with the permeance of both given, are one layer of twice the thickness, while that
    is thin: at 300 kHz, where its frame moves of itself, 1.3 dB apart."""
    layer = Layer(material="tissue", grammage_gsm=17.0)
    thick = sheet("tissue", grammage_gsm=34.0, air_permeance_um_per_pa_s=1000.0)
    spec = SheetSpec(layers=(layer, layer), air_permeance_um_per_pa_s=1000.0)
    pair = resolve_sheet(spec, load_library())
    apart = np.abs(db(one(pair)) - db(one(thick)))[0, 0]
    assert np.all(apart[0] < 0.3)
    assert np.all(apart[1] < 1.5)


def test_permeance_opens_a_sheet():
    """Once the pores pass more than the frame, some 100 um/(Pa s) here."""
    permeances = (200, 800, 3000)
    tissues = [sheet("tissue", grammage_gsm=40, air_permeance_um_per_pa_s=p) for p in permeances]
    assert np.all(np.diff([db(one(t))[0, 0, :, 0] for t in tissues], axis=0) < -3.0)


def test_a_barely_permeable_sheet_is_a_tight_one():
    tight = sheet("newsprint", grammage_gsm=45, air_permeance_um_per_pa_s=1e-4)
    layer = tight.layers[0]
    solid = replace(layer, material=replace(layer.material, porous=None))
    without = replace(tight, layers=(solid,), permeance_um_per_pa_s=None)
    assert db(one(tight)) == pytest.approx(db(one(without)), abs=0.1)


@pytest.mark.parametrize("made", [sheet, None], ids=["board", "laminate"])
def test_holes_open_a_sheet_of_one_layer_or_several(made):
    def perforated(open_area_pct):
        if made is None:
            return construction("label-paper", open_area_pct=open_area_pct)
        return sheet("card-stock", grammage_gsm=250, open_area_pct=open_area_pct)

    whole = db(one(perforated(0.0)))[0, 0, :, 0]
    levels = np.array([db(one(perforated(pct)))[0, 0, :, 0] for pct in (1.0, 10.0, 40.0)])
    assert np.all(levels[0] < whole)
    assert np.all(np.diff(levels, axis=0) < 0.0)
    assert np.all(levels[1] < 25.0)
    assert np.all(levels[2] < 8.0)


def test_holes_are_computed_at_no_place_as_at_some():
    """The search for poles may have none left to look at."""
    holed = model(construction("corrugated-a", open_area_pct=1.0)).picked(np.array([], dtype=np.intp))
    assert holed.transmission(np.empty((0, 1)), np.empty((0, 1))).shape == (0, 1)


def test_bonded_tissue_stays_transparent():
    """Plies that air can pass are no solid, however they hold together."""
    tissue = sheet("tissue", grammage_gsm=17)
    bonded = db(model(tissue).bonded(2, FREQUENCY, SINES))
    assert np.all(bonded < 12.0)
    assert np.all(bonded > db(one(tissue)) - 1.0)


def test_no_sheet_amplifies():
    """|T| <= 1 from plane to plane, for every material of the library at a usual thickness."""
    for material in load_library().materials.values():
        low, high = material.thickness_um.range
        a_sheet = sheet(material.id, thickness_um=float(np.sqrt(low * high)))
        assert np.all(np.abs(one(a_sheet, first_order_cases(a_sheet))) <= 1.0 + 1e-9), material.id


def test_draws_see_the_whole_distribution_at_every_joint():
    index, weight = film_weights(PAPER.trapped_air)
    draws = draw_films(index, weight, joints=3)
    assert draws.shape == (3, DRAWS)
    mean = weight @ np.log(FILM_M[index])
    deviation = np.sqrt(weight @ (np.log(FILM_M[index]) - mean) ** 2)
    for joint in np.log(FILM_M[draws]):
        assert joint.mean() == pytest.approx(mean, abs=0.2 * deviation)
        assert joint.std() == pytest.approx(deviation, rel=0.2)
    assert draws == pytest.approx(draw_films(index, weight, joints=3))
    assert np.max(np.abs(np.corrcoef(np.log(FILM_M[draws])) - np.eye(3))) < 0.5


@pytest.mark.parametrize("joints", [1, 3, 40])
def test_strata_are_those_of_a_general_library(joints):
    """scipy.stats.qmc."""
    wanted = qmc.LatinHypercube(d=joints, rng=np.random.default_rng(1)).random(DRAWS).T
    assert np.array_equal(strata(joints), wanted)


def test_foams_come_in_any_density_and_none_in_less_than_nothing():
    cases = drawn_cases(sheet("pe-foam", grammage_gsm=19.4))
    assert min(case.density_factor for case in cases) > 0.0
    assert np.median([case.density_factor for case in cases]) == pytest.approx(1.0, abs=0.02)
