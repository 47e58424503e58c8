"""Thickness gauges as a principle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Double, Layer, Surface
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.principles.signals import HALF_WIDTH_95
from support.principle_cases import CONDITIONS, class_model, deviations, means, sheet

PAPER = sheet("copy-paper", grammage_gsm=80)
STEEL = sheet("steel", thickness_um=1000)


def test_steel_reads_its_thickness_and_a_double_its_air():
    reading = means(class_model("thickness-laser"), STEEL, 0)
    assert reading["no_sheet"] == pytest.approx(0.0, abs=0.1)
    assert reading["single"] == pytest.approx(1000.0, abs=0.5)
    assert reading["double"] > 2000.0 + STEEL.trapped_air.p50_um


def test_a_roller_presses_the_air_out():
    laser, roller = (
        means(class_model(c), STEEL, 0)["double"] - 2000.0 for c in ("thickness-laser", "thickness-roller")
    )
    assert roller == pytest.approx(0.1 * laser, abs=1.0)


def test_bonded_doubles_carry_no_air():
    bonded = resolve_sheet(
        SheetSpec(material="steel", thickness_um=1000, double=Double(contact="bonded")), load_library()
    )
    assert means(class_model("thickness-laser"), bonded, 0)["double"] == pytest.approx(2000.0, abs=1.0)


def test_own_errors_add_by_root_sum_square():
    """Laser: 4, 6/sqrt 2, 8/1.96 um, 0.1 mm of offset at a lean of 1/1.96 degrees: 0.89 um; bins of 2 um take off
    step^2/6 between their middles, so that an edge in the middle of a bin is read as it should be."""
    expected = np.sqrt(4**2 + (6 / np.sqrt(2)) ** 2 + (8 / HALF_WIDTH_95) ** 2 + 0.8905**2 - 2**2 / 6)
    assert deviations(class_model("thickness-laser"), STEEL, 0)["no_sheet"] == pytest.approx(expected, rel=2e-3)


def test_a_steeper_flutter_spreads_lasers_and_leaves_rollers():
    steep = replace(CONDITIONS, flutter_deg=10.0)
    for class_id, more in (("thickness-laser", True), ("thickness-roller", False)):
        usual, leaning = class_model(class_id), class_model(class_id, conditions=steep)
        grew = deviations(leaning, STEEL, 0)["no_sheet"] > 1.2 * deviations(usual, STEEL, 0)["no_sheet"]
        assert grew is more


def test_tolerance_spreads_the_reading():
    """5 % of tolerance and 1 % of formation, seen twice over under a small spot, are half widths of 95 %."""
    own = deviations(class_model("thickness-laser"), STEEL, 0)
    sheet_sigma = 1000.0 * np.hypot(0.05, 0.02) / HALF_WIDTH_95
    assert own["single"] == pytest.approx(np.hypot(sheet_sigma, own["no_sheet"]), rel=2e-3)


def test_pressure_squeezes_soft_sheets():
    tissue = sheet("tissue", grammage_gsm=18)
    assert means(class_model("thickness-roller"), tissue, 0)["single"] < 0.9 * tissue.thickness_um
    hard = class_model("thickness-roller", force_n=100.0)
    refused = hard.refuses(tissue)
    assert refused.code == "too-soft-for-contact"
    assert refused.values["squeeze_pct"] > refused.values["greatest_pct"]
    assert refused.values["pressure_kpa"] == 5000.0
    assert hard.refuses(STEEL) is None


def test_a_roller_says_how_hard_it_presses():
    (fact,) = (f for f in class_model("thickness-roller").facts(PAPER, 0) if f.code == "contact-marks")
    assert fact.values == {"force_n": 5, "pressure_kpa": 250.0}
    assert not [f for f in class_model("thickness-laser").facts(PAPER, 0) if f.code == "contact-marks"]


@pytest.mark.parametrize(
    ("material", "size", "code"),
    [
        ("pet", {"thickness_um": 100}, "no-diffuse-spot"),
        ("silicon", {"thickness_um": 300}, "mirror-surface"),
        ("glass", {"thickness_um": 2000}, "mirror-surface"),
        ("aluminium", {"thickness_um": 15}, "mirror-surface"),
    ],
)
def test_lasers_need_a_surface_that_scatters(material, size, code):
    a_sheet = sheet(material, **size)
    assert class_model("thickness-laser").refuses(a_sheet).code == code
    assert class_model("thickness-roller").refuses(a_sheet) is None


def test_light_sinks_into_paper_and_not_into_metal():
    """Copy paper, 45.5 m2/kg at 780 kg/m3: 28 um before light is turned round, half of it nominally, on either face."""
    depth = 1e6 / (45.5 * PAPER.density_kg_m3)
    reading = means(class_model("thickness-laser"), PAPER, 0)
    assert reading["single"] == pytest.approx(PAPER.thickness_um - depth, abs=0.3)
    (fact,) = (f for f in class_model("thickness-laser").facts(PAPER, 0) if f.code == "spot-sinks-in")
    assert fact.values["sunk_um"] == pytest.approx(2 * depth, abs=0.1)
    assert not [f for f in class_model("thickness-laser").facts(STEEL, 0) if f.code == "spot-sinks-in"]
    assert not [f for f in class_model("thickness-roller").facts(PAPER, 0) if f.code == "spot-sinks-in"]


def test_a_mirror_on_either_face_blinds_its_laser():
    layers = (Layer(material="coated-board", grammage_gsm=300), Layer(material="aluminium", thickness_um=9))
    for stack in (layers, layers[::-1]):
        mirrored = resolve_sheet(SheetSpec(layers=stack), load_library())
        assert class_model("thickness-laser").refuses(mirrored).values == {"material": "aluminium"}


def test_behind_clear_film_a_laser_sees_the_metal():
    """A film on steel: the spot lies anywhere between the film's face and the metal's; on foil it is mirrored."""

    def laminate(thickness_um: float):
        layers = (Layer(material="pet", thickness_um=23), Layer(material="steel", thickness_um=thickness_um))
        return resolve_sheet(SheetSpec(layers=layers), load_library())

    made = class_model("thickness-laser")
    assert made.refuses(laminate(500)) is None
    assert made.refuses(laminate(50)).code == "mirror-surface"
    (fact,) = (f for f in made.facts(laminate(500), 0) if f.code == "spot-sinks-in")
    assert fact.values["sunk_um"] == 23.0


def test_gloss_that_is_told_goes_before_what_is_usual():
    made = class_model("thickness-laser")
    bright = resolve_sheet(SheetSpec(material="steel", thickness_um=800, surface=Surface(gloss=True)), load_library())
    dull = resolve_sheet(SheetSpec(material="steel", thickness_um=50, surface=Surface(gloss=False)), load_library())
    assert made.refuses(bright).code == "mirror-surface"
    assert made.refuses(dull) is None


def test_a_clear_coat_lets_the_laser_see_the_board():
    layers = (Layer(material="pet", thickness_um=12), Layer(material="coated-board", grammage_gsm=300))
    assert class_model("thickness-laser").refuses(resolve_sheet(SheetSpec(layers=layers), load_library())) is None


def test_a_sheet_beyond_the_range_is_refused():
    refused = class_model("thickness-roller").refuses(sheet("greyboard", thickness_um=4000, plies=2))
    assert (refused.code, refused.values) == ("beyond-range", {"thickness_um": 8000.0, "range_um": 5000})


def test_plies_and_what_is_between_them():
    """Of three plies one too few and one too many lie about a ply apart; the air inside spreads the laser's reading."""
    form = sheet("copy-paper", grammage_gsm=80, plies=3, double=Double(kind="one-ply-more"))
    signal_table = class_model("thickness-laser").signal_table(form)
    ply = form.thickness_um
    assert signal_table.double.p50[0] - signal_table.single.p50[0] > ply
    assert signal_table.single.p50[0] - signal_table.fewer.p50[0] > ply
    assert (
        deviations(class_model("thickness-laser"), form, 0)["single"]
        > 2 * deviations(class_model("thickness-roller"), form, 0)["single"]
    )
