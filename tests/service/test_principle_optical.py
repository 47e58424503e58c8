"""Infrared transmission as a principle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from support.principle_cases import CONDITIONS, class_model, deviations, means, sheet

PAPER = sheet("copy-paper", grammage_gsm=80)
WHITE_FILM = sheet("bopp-white", thickness_um=50, grammage_gsm=round(0.68 * 50, 2))


def transmittance(s, k, w):
    """Kubelka and Munk by their own hyperbolic functions."""
    b = np.sqrt(k * (k + 2 * s))
    return b / ((k + s) * np.sinh(b * w) + b * np.cosh(b * w))


def test_unprinted_sheets_read_kubelka_and_munk():
    """Two sheets are one of twice the mass; the floor is 40 dB down and hardly seen."""
    optical = load_library().get("bopp-white").optical
    w = WHITE_FILM.grammage_gsm * 1e-3
    reading = means(class_model("optical-850"), WHITE_FILM, 0)
    for state, count in (("single", 1), ("double", 2)):
        passed = transmittance(optical.scattering_m2_per_kg, optical.absorption_m2_per_kg, count * w)
        assert reading[state] == pytest.approx(-10 * np.log10(passed), abs=0.02)


@pytest.mark.parametrize(
    ("material", "size", "code"),
    [
        ("pet", {"thickness_um": 12}, "transparent"),
        ("glass", {"thickness_um": 2000}, "transparent"),
        ("greyboard", {"thickness_um": 2000}, "opaque"),
        ("aluminium", {"thickness_um": 12}, "opaque"),
        ("rubber", {"thickness_um": 1000}, "opaque"),
    ],
)
def test_clear_and_opaque_sheets_are_refused_with_the_number(material, size, code):
    refused = class_model("optical-850").refuses(sheet(material, **size))
    assert refused.code == code
    stated = 10 ** (-0.1 * refused.values["attenuation_db"])
    assert refused.values["transmission_pct"] == pytest.approx(100 * stated, rel=0.06, abs=1e-26)


def test_a_clear_film_passes_what_its_faces_leave():
    """Two faces of index 1.5: 92 %."""
    assert class_model("optical-850").refuses(sheet("pet", thickness_um=12)).values["transmission_pct"] == 92.0


def test_print_spreads_paper_and_says_so():
    made = class_model("optical-850")
    assert deviations(made, PAPER, 0)["single"] > 1.2 * deviations(made, WHITE_FILM, 0)["single"]
    fact = next(f for f in made.facts(PAPER, 0) if f.code == "print-moves-signal")
    # 30 % covered by ink of 5 %: 10 lg(1 - 0.3 x 0.95) = -1.46 dB
    assert fact.values["shift_db"] == 1.5
    assert not [f for f in made.facts(WHITE_FILM, 0) if f.code == "print-moves-signal"]


def test_air_between_the_sheets_does_not_count():
    loose = replace(PAPER, trapped_air=replace(PAPER.trapped_air, p50_um=200.0, p95_um=400.0))
    assert means(class_model("optical-850"), loose, 3) == means(class_model("optical-850"), PAPER, 3)


def test_a_stronger_class_sees_through_heavier_board():
    board = sheet("folding-boxboard", grammage_gsm=500)
    weak, strong = class_model("optical-850"), class_model("optical-940-high-output")
    assert weak.refuses(board) is None or weak.refuses(board).code == "opaque"
    assert strong.receiver.highest_edge.max() == weak.receiver.highest_edge.max() + 15.0


def test_the_open_path_falls_with_the_square_of_the_gap():
    made = class_model("optical-850")
    edges, gaps = made.receiver.highest_edge, made.settings.gap_mm
    assert edges[0] - edges[-1] == pytest.approx(20 * np.log10(gaps[-1] / gaps[0]))


def test_flutter_counts_by_the_class_own_figure():
    still, moving = (
        class_model("optical-850", position_db_per_mm=0.5, conditions=replace(CONDITIONS, flutter_mm=mm))
        for mm in (0.1, 5.0)
    )
    last = len(moving.settings.gap_mm) - 1
    assert deviations(moving, WHITE_FILM, last)["single"] > 1.5 * deviations(still, WHITE_FILM, 0)["single"]
    assert deviations(moving, WHITE_FILM, last)["no_sheet"] == deviations(still, WHITE_FILM, 0)["no_sheet"]


def test_layers_add_and_air_cells_do_not():
    two = resolve_sheet(
        SheetSpec(
            layers=(
                Layer(material="copy-paper", grammage_gsm=80),
                Layer(material="copy-paper", grammage_gsm=80),
            )
        ),
        load_library(),
    )
    made = class_model("optical-850")
    single = sheet("copy-paper", grammage_gsm=160)
    assert means(made, two, 0)["single"] == pytest.approx(means(made, single, 0)["single"], abs=0.05)


def test_holes_pass_the_light():
    holed = sheet("copy-paper", grammage_gsm=80, open_area_pct=10)
    assert (
        means(class_model("optical-850"), holed, 0)["single"]
        < means(class_model("optical-850"), PAPER, 0)["single"] - 0.5
    )


def test_a_material_without_optics_is_refused_by_name():
    material = replace(PAPER.layers[0].material, optical=None)
    stripped = replace(PAPER, layers=(replace(PAPER.layers[0], material=material),))
    refused = class_model("optical-850").refuses(stripped)
    assert (refused.code, refused.values) == ("optics-unknown", {"material": "copy-paper"})


@pytest.mark.parametrize("class_id", ["optical-850", "optical-940-high-output"])
def test_no_band_edge_comes_nearer_than_3_db_to_what_no_light_reads(class_id):
    """A sheet that lets nothing through reads the floor."""
    made, dark = class_model(class_id), sheet("aluminium", thickness_um=12)
    for setting in (0, len(made.settings.gap_mm) - 1):
        floor_db = means(made, dark, setting)["single"]
        assert floor_db - made.receiver.highest_edge[setting] == pytest.approx(3.0, abs=0.05)


def test_holes_pass_light_by_their_share_and_send_none_back():
    """Of a white film a tenth is open: both of two send back only from what is not."""
    optical = load_library().get("bopp-white").optical
    s, k, w = optical.scattering_m2_per_kg, optical.absorption_m2_per_kg, WHITE_FILM.grammage_gsm * 1e-3
    b = np.sqrt(k * (k + 2 * s))
    passed = 0.1 + 0.9 * transmittance(s, k, w)
    returned = 0.9 * s * np.sinh(b * w) / ((k + s) * np.sinh(b * w) + b * np.cosh(b * w))
    reading = means(class_model("optical-850"), sheet("bopp-white", thickness_um=50, open_area_pct=10), 0)
    assert reading["single"] == pytest.approx(-10 * np.log10(passed), abs=0.02)
    assert reading["double"] == pytest.approx(-10 * np.log10(passed**2 / (1 - returned**2)), abs=0.02)


def test_what_overloads_the_receiver_reads_alike():
    """Down to 15 dB at 30 mm, and 6 dB more light at half the gap: one light sheet and none read the same there."""
    thin = sheet("bopp-white", thickness_um=20)
    made = class_model("optical-940-high-output")
    gaps = made.settings.gap_mm
    overload = 15.0 - 20.0 * np.log10(gaps / 30.0)
    for setting in (0, len(gaps) - 1):
        read, bare = means(made, thin, setting), means(class_model("optical-850"), thin, setting)
        assert read["no_sheet"] == pytest.approx(overload[setting], abs=0.05)
        assert read["single"] == pytest.approx(max(bare["single"], overload[setting]), abs=0.3)
        assert made.receiver.lowest_edge[setting] == pytest.approx(overload[setting] + 3.0)
