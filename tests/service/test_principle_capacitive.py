"""Capacitive sensing as a principle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Double, Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.principles.capacitive.model import (
    EPS_0,
    CapacitiveModel,
    air_permittivity,
    loss_tangent,
    moisture_sensitivity,
)
from sheetmargin_service.principles.draws import drawn
from support.principle_cases import CONDITIONS, class_model, deviations, means, sheet

PET = sheet("pet", thickness_um=100)
PAPER = sheet("copy-paper", grammage_gsm=80)


def test_rise_is_that_of_layers_in_series():
    made = class_model("capacitive-200k")
    permittivity = load_library().get("pet").electrical.permittivity.nominal
    area = 0.04 * 0.04
    for setting, gap_mm in enumerate(made.settings.gap_mm):
        opened = EPS_0 * area / (gap_mm * 1e-3)
        filled = [EPS_0 * area / (gap_mm * 1e-3 - n * 100e-6 * (1 - 1 / permittivity)) for n in (1, 2)]
        reading = means(made, PET, setting)
        expected = [1e15 * (c - opened) for c in filled]
        # the material's density makes a permittivity of its own: PET is taken at its nominal density
        assert [reading["single"], reading["double"]] == pytest.approx(expected, rel=5e-3, abs=0.5)


def test_air_between_the_sheets_does_not_count():
    loose = replace(PAPER, trapped_air=replace(PAPER.trapped_air, p95_um=400.0, loose_max_um=450.0))
    made = class_model("capacitive-200k")
    last = len(made.settings.gap_mm) - 1
    assert means(made, loose, last) == means(made, PAPER, last)


def test_water_between_the_sheets_does_count():
    wet = resolve_sheet(
        SheetSpec(material="copy-paper", grammage_gsm=80, double=Double(contact="water-film")), load_library()
    )
    made = class_model("capacitive-200k")
    assert means(made, wet, 3)["double"] > means(made, PAPER, 3)["double"] + 3.0
    assert means(made, wet, 3)["single"] == means(made, PAPER, 3)["single"]


def test_moisture_spreads_paper_and_leaves_film():
    dry, damp = (
        class_model("capacitive-200k", conditions=replace(CONDITIONS, relative_humidity_max_pct=high))
        for high in (31.0, 95.0)
    )
    moved = [float(made.distribution(PAPER, 0).single.unknowns["moisture"][0][0]) for made in (dry, damp)]
    assert moved[1] > 2.0 * moved[0] > 0.0
    assert "moisture" not in damp.distribution(PET, 0).single.unknowns
    codes = {s.material_id: {f.code for f in damp.facts(s, 0)} for s in (PAPER, PET)}
    assert "moisture-moves-signal" in codes["copy-paper"]
    assert "moisture-moves-signal" not in codes["pet"]


def test_moisture_by_the_logarithmic_mixing_rule():
    """Lichtenecker: each part of water by volume multiplies by its permittivity to that power: 1 % by mass of paper of
    800 kg/m3 is 0.8 % by volume, 78.4^0.008 = 1.0355."""
    sensitivity = moisture_sensitivity(density_kg_m3=800.0)
    assert np.exp(0.01 * sensitivity) == pytest.approx(78.4**0.008, rel=1e-12)
    assert np.exp(0.01 * sensitivity) == pytest.approx(1.0355, abs=5e-4)


@pytest.mark.parametrize(("material", "thickness_um"), [("aluminium", 30), ("silicon", 300), ("cfrp", 1000)])
def test_what_conducts_is_refused_with_its_loss(material, thickness_um):
    refused = class_model("capacitive-200k").refuses(sheet(material, thickness_um=thickness_um))
    assert refused.code == "conductive-sheet"
    assert refused.values["decades"] > -1.0


def test_a_foil_inside_a_laminate_is_refused_too():
    laminate = resolve_sheet(
        SheetSpec(layers=(Layer(material="pet", thickness_um=50), Layer(material="aluminium", thickness_um=9))),
        load_library(),
    )
    assert class_model("capacitive-200k").refuses(laminate).values["material"] == "aluminium"


def test_a_material_without_permittivity_is_refused_by_name():
    unknown = resolve_sheet(
        SheetSpec(material="pet", thickness_um=100),
        load_library(),
    )
    material = replace(
        unknown.layers[0].material, electrical=replace(unknown.layers[0].material.electrical, permittivity=None)
    )
    stripped = replace(unknown, layers=(replace(unknown.layers[0], material=material),))
    refused = class_model("capacitive-200k").refuses(stripped)
    assert (refused.code, refused.values) == ("permittivity-unknown", {"material": "pet"})


def test_a_double_without_room_is_refused_with_its_height():
    refused = class_model("capacitive-200k").refuses(sheet("greyboard", thickness_um=4000))
    assert refused.code == "too-thick-for-gap"
    assert refused.values["double_mm"] > 8.0


def test_a_wider_gap_reads_less_and_drifts_less():
    made = class_model("capacitive-200k")
    first, last = 0, len(made.settings.gap_mm) - 1
    assert means(made, PET, first)["single"] > 4 * means(made, PET, last)["single"]
    assert deviations(made, PET, first)["no_sheet"] > deviations(made, PET, last)["no_sheet"]


def test_permittivity_moves_with_its_draw():
    values = class_model("capacitive-200k").distribution(PAPER, 3).single.values[:, 0]
    assert np.corrcoef(values, drawn("constants"))[0, 1] > 0.5
    assert np.corrcoef(values, drawn("other-constants"))[0, 1] == pytest.approx(0.0, abs=0.1)


def test_holes_count_as_that_much_less_of_solid():
    made = class_model("capacitive-200k-wide")
    holed = sheet("pet", thickness_um=100, open_area_pct=30)
    ratio = means(made, holed, 3)["single"] / means(made, PET, 3)["single"]
    assert ratio == pytest.approx(0.7, abs=0.02)


def test_loss_tangent_is_conduction_over_displacement():
    """1e6 ohm m at 200 kHz: 1e-6 S/m over 2 pi 2e5 x 3 x 8.854e-12 = 3.338e-5 S/m."""
    found = loss_tangent(resistivity_ohm_m=1e6, permittivity=3.0, frequency_hz=200e3)
    assert found == pytest.approx(0.02996, rel=1e-3)


def moves(**changed):
    made = class_model("capacitive-200k", conditions=replace(CONDITIONS, **changed))
    return {name: one for name, (one, _) in made.distribution(sheet("bopp", thickness_um=20), 0).moves.items()}


def test_fifteen_kelvin_of_the_bracket_are_twice_a_thin_film():
    """15 cm of steel at 12 um/m for each kelvin are 27 um of the gap, 42 fF of 4.7 pF at 3 mm; 20 um of BOPP are some
    17 fF."""
    made = class_model("capacitive-200k", conditions=replace(CONDITIONS, temperature_min_c=20, temperature_max_c=35))
    swing = np.sqrt(12.0) * moves(temperature_min_c=20, temperature_max_c=35)["bracket"]
    assert swing == pytest.approx(EPS_0 * 1.6e-3 / 3e-3 * 1e15 * 0.15 * 12e-6 * 15 / 3e-3, rel=1e-6)
    assert 2.0 < swing / means(made, sheet("bopp", thickness_um=20), 0)["single"] < 3.0


def test_warmth_and_dust_move_every_state_alike_from_one_teach_in_to_the_next():
    warm, steady = (
        class_model("capacitive-200k", conditions=replace(CONDITIONS, temperature_max_c=high)) for high in (35.0, 15.0)
    )
    states = [made.distribution(PAPER, 0) for made in (warm, steady)]
    assert states[0].single.common == states[0].double.common == states[0].no_sheet.common
    assert states[0].single.common > 4.0 * states[1].single.common
    assert states[0].single.blur == states[1].single.blur
    assert moves(dusty=True)["dust"] == pytest.approx(5.0 * moves(dusty=None)["dust"])
    assert moves(dusty=False)["dust"] == 0.0


def test_charge_moves_film_and_not_paper():
    made = class_model("capacitive-200k")
    assert made.distribution(PAPER, 0).moves["static"] == (0.0, 0.0)
    one, two = made.distribution(PET, 0).moves["static"]
    assert two == pytest.approx(one * np.sqrt(2.0))
    louder = class_model("capacitive-200k", static_rejection_db=94.0).distribution(PET, 0).moves["static"][0]
    assert louder == pytest.approx(10.0 * one)


def test_a_gap_that_is_set_wider_reads_every_sheet_weaker():
    single, double = (getattr(class_model("capacitive-200k").distribution(PAPER, 0), s) for s in ("single", "double"))
    assert single.unknowns["gap"][0][0] < 0.0
    assert double.unknowns["gap"][0][0] == pytest.approx(2.0 * single.unknowns["gap"][0][0], rel=0.1)


def test_air_by_its_refractive_index():
    """ITU-R P.453-14 by hand at 25 degrees C, 50 % and 1013.25 hPa: e = 15.84 hPa, N = 259.6 + 3.8 + 66.8 = 330.3."""
    air = humid_air(temperature_c=25.0, relative_humidity_pct=50.0, pressure_kpa=101.325)
    assert air_permittivity(air) - 1.0 == pytest.approx(2 * 330.3e-6, rel=3e-3)


def test_a_gap_is_as_uncertain_where_the_pair_stands_as_where_it_is_sought() -> None:
    """A prediction has one gap, a search many: what is read at the same one is the same."""
    many = class_model("capacitive-200k")
    at = int(np.argmin(np.abs(many.settings.gap_mm - 3.0)))
    assert isinstance(many, CapacitiveModel)
    one = replace(many, gap_mm=many.gap_mm[at : at + 1])
    film = sheet("pet", thickness_um=250.0)
    assert one.distribution(film, 0).moves == many.distribution(film, at).moves
