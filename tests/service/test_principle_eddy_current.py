"""Eddy currents as a principle: through the sheet, and from one side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from sheetmargin.contract.job import Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.principles.eddy_current.coil import coil_of, spectrum
from sheetmargin_service.principles.eddy_current.sheet import MU_0
from support.principle_cases import CONDITIONS, class_model, deviations, means, sheet

ALUMINIUM = sheet("aluminium", thickness_um=300)
STEEL = sheet("steel", thickness_um=1000)
STAINLESS = sheet("stainless-steel", thickness_um=1000)
PAPER = sheet("copy-paper", grammage_gsm=80)


def transmitted_db(*, resistivity_ohm_m, thickness_m, frequency_hz, coil, distance_m):
    """Attenuation of one plate by adaptive quadrature of the hyperbolic form, apart from the code under test."""

    def part(take, k):
        g = np.sqrt(k**2 + 2j * np.pi * frequency_hz * MU_0 / resistivity_ohm_m)
        passed = 1 / (np.cosh(g * thickness_m) + 0.5 * (g / k + k / g) * np.sinh(g * thickness_m))
        return 1e18 * float(spectrum(coil, np.asarray(k))) * take(passed) * np.exp(-k * (distance_m - thickness_m))

    def total(take):
        return quad(lambda k: part(take, k), 1e-2, 5000.0, limit=400, epsrel=1e-9)[0]

    opened = quad(
        lambda k: 1e18 * float(spectrum(coil, np.asarray(k))) * np.exp(-k * distance_m), 1e-2, 5000.0, limit=400
    )[0]
    return -20 * np.log10(abs(total(np.real) + 1j * total(np.imag)) / opened)


@pytest.mark.parametrize("class_id", ["eddy-current-1k", "eddy-current-10k"])
def test_level_is_the_integral_over_the_coils_spectrum(class_id):
    made = class_model(class_id, taught_on_sheet=False)
    p = made.detector_class.parameters
    for setting in (0, len(made.settings.gap_mm) - 1):
        expected = transmitted_db(
            resistivity_ohm_m=2.9e-8,
            thickness_m=300e-6,
            frequency_hz=p.frequency_hz,
            coil=coil_of(p),
            distance_m=(made.settings.gap_mm[setting] + 2 * p.recess_mm) * 1e-3,
        )
        assert means(made, ALUMINIUM, setting)["single"] == pytest.approx(expected, abs=0.01)


def test_where_the_sheet_runs_does_not_matter():
    calm, wild = (class_model("eddy-current-10k", conditions=replace(CONDITIONS, flutter_mm=mm)) for mm in (0.1, 3.0))
    last = -1 + len(wild.settings.gap_mm)
    assert wild.settings.gap_mm[last] == calm.settings.gap_mm[-1]
    assert means(wild, ALUMINIUM, last) == means(calm, ALUMINIUM, len(calm.settings.gap_mm) - 1)


def test_attenuation_grows_with_metal_and_with_frequency():
    through = class_model("eddy-current-10k", taught_on_sheet=False)
    by_thickness = [means(through, sheet("aluminium", thickness_um=t), 3)["single"] for t in (20, 100, 500, 2000)]
    assert by_thickness == sorted(by_thickness)
    by_frequency = [
        means(class_model(c, taught_on_sheet=False), sheet("copper", thickness_um=200), 0)["single"]
        for c in ("eddy-current-80", "eddy-current-1k", "eddy-current-10k", "eddy-current-100k")
    ]
    assert by_frequency == sorted(by_frequency)


def test_stainless_is_invisible_to_a_low_frequency():
    low, high = (means(class_model(c), STAINLESS, 0)["single"] for c in ("eddy-current-80", "eddy-current-10k"))
    assert low < 0.1
    assert high > 20 * low


def test_two_sheets_read_about_twice_one_where_the_sheet_is_thin():
    """Far thinner than the skin depth the conductance counts, and it adds."""
    foil = sheet("aluminium", thickness_um=20)
    one = means(class_model("eddy-current-10k", taught_on_sheet=False), foil, 3)
    thick = means(class_model("eddy-current-10k", taught_on_sheet=False), sheet("aluminium", thickness_um=40), 3)
    assert one["double"] == pytest.approx(thick["single"], abs=0.1)


def test_a_taught_gain_takes_the_alloy_out_of_the_single_sheet_alone():
    taught, plain = class_model("eddy-current-1k"), class_model("eddy-current-1k", taught_on_sheet=False)

    def width(made, state):
        span = getattr(made.signal_table(STEEL), state)
        return float(span.p99[4] - span.p1[4])

    assert width(taught, "single") < 0.5 * width(plain, "single")
    assert width(taught, "no_sheet") > 3 * width(plain, "no_sheet")
    assert means(taught, STEEL, 4)["single"] == pytest.approx(means(plain, STEEL, 4)["single"], abs=0.05)


def test_the_reading_ends_at_the_floor():
    made = class_model("eddy-current-100k")
    thick = sheet("steel", thickness_um=3000)
    floor = made.detector_class.parameters.floor_db
    reference = int(np.argmin(np.abs(made.settings.gap_mm - made.detector_class.parameters.reference_gap_mm)))
    assert means(made, thick, reference)["double"] == pytest.approx(floor, abs=1.0)
    assert made.receiver.highest_edge[reference] <= floor - 10.0


def test_warmth_spreads_the_reading():
    """Of a gain that was taught on the sheet no more than without one: all of a job is as warm."""

    def width(top, *, taught):
        conditions = replace(CONDITIONS, temperature_max_c=top)
        made = class_model("eddy-current-10k", conditions=conditions, taught_on_sheet=taught)
        return deviations(made, ALUMINIUM, 3)

    assert width(90.0, taught=False)["single"] > 1.5 * width(16.0, taught=False)["single"]
    assert width(90.0, taught=True)["single"] == pytest.approx(width(16.0, taught=True)["single"])
    assert width(90.0, taught=True)["no_sheet"] > 1.5 * width(16.0, taught=True)["no_sheet"]


@pytest.mark.parametrize("class_id", ["eddy-current-10k", "eddy-current-one-sided-1k"])
def test_what_does_not_conduct_is_refused_by_name(class_id):
    refused = class_model(class_id).refuses(PAPER)
    assert refused.code == "not-conductive"
    assert refused.values == {"material": "copy-paper", "attenuation_db": 0.0}


def test_a_foil_in_a_laminate_is_seen():
    laminate = resolve_sheet(
        SheetSpec(
            layers=(
                Layer(material="coated-board", grammage_gsm=250),
                Layer(material="aluminium", thickness_um=9),
                Layer(material="pe-ld", thickness_um=20),
            )
        ),
        load_library(),
    )
    made = class_model("eddy-current-100k")
    assert made.refuses(laminate) is None
    alone = sheet("aluminium", thickness_um=9)
    assert means(made, laminate, 3)["single"] == pytest.approx(means(made, alone, 3)["single"], abs=0.05)


def test_holes_let_the_field_through():
    whole, holed = sheet("aluminium", thickness_um=100), sheet("aluminium", thickness_um=100, open_area_pct=40)
    made = class_model("eddy-current-10k", taught_on_sheet=False)
    assert means(made, holed, 3)["single"] < means(made, whole, 3)["single"] - 2.0


def test_a_double_that_does_not_fit_is_refused_with_its_height():
    refused = class_model("eddy-current-100k").refuses(sheet("aluminium", thickness_um=6000, plies=3))
    assert refused is None
    refused = class_model("eddy-current-100k", gap_max_mm=25.0).refuses(sheet("aluminium", thickness_um=6000, plies=3))
    assert refused.code == "too-thick-for-gap"
    assert refused.values["double_mm"] == pytest.approx(6 * 6.0 + 5 * 1e-3 * ALUMINIUM.trapped_air.p95_um, abs=1e-3)


def test_a_gap_too_narrow_for_the_double_is_no_setting():
    thick = sheet("aluminium", thickness_um=8000)
    made = class_model("eddy-current-1k")
    signal_table = made.signal_table(thick)
    narrow = made.settings.gap_mm < 18.0
    assert narrow.any()
    assert not narrow.all()
    assert np.all(signal_table.single.p99[narrow] > 1e5)
    assert np.all(signal_table.single.p99[~narrow] < 200.0)


def test_facts_give_the_skin_depth():
    """100 um of aluminium (2.9e-8 ohm m) at 100 kHz: sqrt(2.9e-8/(pi 1e5 4e-7 pi)) = 271 um."""
    facts = {f.code: f.values for f in class_model("eddy-current-100k").facts(sheet("aluminium", thickness_um=100), 0)}
    assert facts["skin-depth"] == {"frequency_khz": 100.0, "skin_depth_um": 271.0, "conductor_um": 100.0}
    assert 0 < facts["coil-transmission"]["single_db"] < facts["coil-transmission"]["double_db"]
    assert "taught-on-sheet" not in facts


def test_from_one_side_a_thick_sheet_hides_the_second():
    made = class_model("eddy-current-one-sided-1k")
    thin, thick = sheet("aluminium", thickness_um=300), sheet("aluminium", thickness_um=8000)
    reading = means(made, thin, 0)
    assert reading["double"] > 1.3 * reading["single"]
    hidden = means(made, thick, 0)
    assert hidden["double"] == pytest.approx(hidden["single"], abs=0.5)


def test_from_one_side_distance_counts():
    made = class_model("eddy-current-one-sided-1k", taught_on_sheet=False)
    near, far = (means(made, ALUMINIUM, setting)["single"] for setting in (0, len(made.settings.gap_mm) - 1))
    assert near > far > 0
    variance = [
        deviations(class_model("eddy-current-one-sided-1k", hold_mm=hold), ALUMINIUM, 0)["single"] ** 2
        for hold in (0.1, 0.5, 1.0)
    ]
    # what the distance adds goes with its square
    assert (variance[2] - variance[1]) / (variance[1] - variance[0]) == pytest.approx(0.75 / 0.24, rel=0.1)
    fact = next(f for f in made.facts(ALUMINIUM, 0) if f.code == "lift-off-moves-signal")
    assert fact.values["shift_pct"] > 0


def test_from_one_side_without_a_hold_the_flutter_counts():
    held, free = class_model("eddy-current-one-sided-1k"), class_model("eddy-current-one-sided-1k", hold_mm=None)
    assert deviations(free, ALUMINIUM, 3)["single"] > deviations(held, ALUMINIUM, 3)["single"]


def test_no_change_exceeds_the_open_coupling():
    made = class_model("eddy-current-one-sided-1k", frequency_hz=1e6)
    for material in ("copper", "aluminium", "steel"):
        assert 0 < means(made, sheet(material, thickness_um=2000), 0)["double"] < 100


@pytest.mark.parametrize("class_id", ["eddy-current-1k", "eddy-current-10k"])
def test_no_band_edge_lies_where_crosstalk_moves_a_reading_by_much_more_than_3_db(class_id):
    """A floor 10 dB below a signal, in the opposite phase: 20 lg(1 - 10^(-10/20)) = -3.30 dB."""
    made = class_model(class_id)
    last = len(made.settings.gap_mm) - 1
    floor_db = means(made, sheet("steel", thickness_um=6000), last)["double"]
    margin_db = floor_db - made.receiver.highest_edge[last]
    assert -20.0 * np.log10(1.0 - 10.0 ** (-margin_db / 20.0)) == pytest.approx(3.30, abs=0.03)


@pytest.mark.parametrize("thickness_um", [800, 1500, 2000])
def test_saturated_steel_lets_the_field_through(thickness_um):
    """98 % of one sheet and of two lie apart, where those of steel that is not saturated meet from 1.5 mm."""
    steel = sheet("steel", thickness_um=thickness_um)
    apart = {}
    for name in ("80", "saturating"):
        table = class_model(f"eddy-current-one-sided-{name}").signal_table(steel)
        apart[name] = float(np.max(table.double.p1 - table.single.p99))
    assert apart["saturating"] > 1.0
    assert apart["80"] < apart["saturating"]
    assert (apart["80"] > 0.0) is (thickness_um < 1000)


def test_more_steel_than_the_head_saturates_is_refused():
    made = class_model("eddy-current-one-sided-saturating")
    refused = made.refuses(sheet("steel", thickness_um=2500))
    assert (refused.code, refused.values) == ("not-saturated", {"double_mm": 5.0, "saturated_mm": 4})
    assert made.refuses(sheet("aluminium", thickness_um=3000)) is None
