"""Causes of trouble: faults that are put in are found, the tests that tell them apart, remedies with their numbers."""

from __future__ import annotations

import ast
import inspect
from dataclasses import replace
from importlib import import_module

import numpy as np
import pytest
from sheetmargin.contract.job import Controller, Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.measure import (
    Cause,
    DiagnosisQuestion,
    InstalledBand,
    InstalledProfile,
    InstalledSetup,
    MachineReading,
)
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement import faults as fault_table
from sheetmargin_service.measurement import remedies
from sheetmargin_service.measurement.diagnose import diagnose, setting_of
from sheetmargin_service.measurement.discriminating_tests import PROBES, Showing, separation
from sheetmargin_service.measurement.machine import State
from sheetmargin_service.measurement.predict import resolved_job_of
from sheetmargin_service.measurement.symptoms import SYMPTOMS
from sheetmargin_service.messages.say import texts
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.spreads import GRID
from sheetmargin_service.selection.class_result import distributions_at
from sheetmargin_service.selection.configured_pair import build_configured_pair
from sheetmargin_service.selection.installation import class_of
from sheetmargin_service.selection.installed_class import choice_of, class_result_at
from sheetmargin_service.selection.recommend import recommend
from support.measurement_cases import COPY_PAPER

PAIR = InstalledSetup(detector_class="ultrasonic-400k", gap_mm=26.0)
RINGING = InstalledSetup(detector_class="ultrasonic-220k-continuous", gap_mm=40.0)
NO_LINE, NO_CONTROLLER = Line(), Controller()
DESIGN = {"within-targets", "wrong-place", "wrong-class"}
"""Causes that an installed set-up has by design, beside those of the table."""


def causes(
    setup: InstalledSetup = PAIR,
    *symptoms: str,
    readings: dict[str, float] | None = None,
    line: Line = NO_LINE,
    controller: Controller = NO_CONTROLLER,
    spec: SheetSpec = COPY_PAPER,
) -> tuple[Cause, ...]:
    library, catalogue = load_library(), reference_catalogue()
    resolved_job = DiagnosisQuestion(
        sheet=spec,
        setup=setup,
        symptoms=symptoms,
        readings=[MachineReading(state=state, attenuation_db=value) for state, value in (readings or {}).items()],
    )
    answer = diagnose(
        resolved_job,
        job=Job(sheets=(spec,), line=line, controller=controller),
        catalogue=catalogue,
        library=library,
        recommend=lambda job: recommend(job, catalogue=catalogue, library=library),
    )
    assert {note.code for note in answer.cautions} >= {"not-a-safety-device", "isolate-before-work"}
    return answer.causes


def name(cause: Cause) -> str:
    return cause.cause.code.removeprefix("cause-")


def test_a_pair_that_should_work_is_told_so() -> None:
    found = causes()
    assert name(found[0]) == "within-targets"
    assert [c.rank for c in found] == list(range(1, len(found) + 1))
    assert sum(c.probability for c in found) <= 1.0 + 1e-9
    assert sorted((c.probability for c in found), reverse=True) == [c.probability for c in found]


def test_a_weak_open_path_is_a_dirty_or_misaligned_face() -> None:
    """8 dB are missing with no sheet and with one: sound is lost on the way, whatever runs between."""
    found = causes(PAIR, "false-stops", readings={"no_sheet": 8.0, "single": 54.3})
    assert {name(c) for c in found[:2]} == {"dirty-face", "misalignment"}
    assert sum(c.probability for c in found[:2]) > 0.9
    assert found[0].test is not None
    assert found[0].test.code in ("test-clean-faces", "test-realign")
    assert found[0].remedy.values["loss_db"] == pytest.approx(8.0, abs=2.0)
    assert found[0].rates_ppm.single_as_double > 10.0 * max(found[0].remedied_ppm.single_as_double, 1.0)


def test_doubles_without_air_are_static_or_blocking() -> None:
    found = causes(
        PAIR, "missed-doubles", "only-some-sheets", readings={"no_sheet": 0.0, "single": 46.0, "double": 66.0}
    )
    assert name(found[0]) == "static-or-blocking"
    remedy = found[0].remedy.values
    assert remedy["double_before_db"] < remedy["double_after_db"] - 5.0
    assert remedy["p50_um"] < remedy["usual_um"]


def test_a_band_that_does_not_hold_the_sheet_is_the_profile() -> None:
    found = causes(replace(PAIR, profile=InstalledProfile(band=InstalledBand(low=20, high=46))), "false-stops")
    assert name(found[0]) == "wrong-profile"
    values = found[0].remedy.values
    assert values["margin_before_db"] < 0.0 < values["margin_after_db"]
    assert values["band_high"] > 46
    assert found[0].remedied_ppm.single_as_double < 1e-2 * found[0].rates_ppm.single_as_double


def test_a_ringing_pair_square_on_has_standing_waves_and_is_to_be_tilted() -> None:
    found = causes(RINGING, "false-stops", "depends-on-position")
    assert name(found[0]) == "standing-wave"
    values = found[0].remedy.values
    assert values["tilt_deg"] >= 5.0
    assert values["margin_after_db"] > values["margin_before_db"]
    # The band lies where its targets are met most likely, before and after: that is what the tilt helps.
    assert found[0].remedied_ppm.single_as_double < 0.25 * found[0].rates_ppm.single_as_double
    assert found[0].remedied_ppm.double_as_single < 0.01 * found[0].rates_ppm.double_as_single


def test_trouble_that_goes_with_speed_is_the_hold() -> None:
    line = Line(speed_m_per_min=200.0, sheet_length_mm=297.0, sheet_spacing_mm=60.0)
    controller = Controller(scan_ms=4.0, input_filter_ms=1.0)
    found = causes(
        replace(PAIR, profile=InstalledProfile(hold_ms=40.0)),
        "false-stops",
        "depends-on-speed",
        line=line,
        controller=controller,
    )
    assert name(found[0]) == "hold-too-long"
    assert found[0].remedy.values["limit_ms"] < 40.0
    fitting = causes(
        replace(PAIR, profile=InstalledProfile(hold_ms=8.0)),
        "false-stops",
        "depends-on-speed",
        line=line,
        controller=controller,
    )
    assert next((c.probability for c in fitting if name(c) == "hold-too-long"), 0.0) < found[0].probability


def test_neighbours_trouble_none_but_lanes() -> None:
    alone = {name(c) for c in causes(PAIR, "missed-doubles", "flicker")}
    assert "neighbour" not in alone
    beside = causes(
        PAIR, "missed-doubles", "flicker", line=Line(lanes=3, lane_pitch_mm=20.0), readings={"double": 55.0}
    )
    found = next(c for c in beside if name(c) == "neighbour")
    assert found.remedy.values["least_pitch_mm"] > 20.0


def test_what_takes_up_no_water_knows_no_humidity() -> None:
    film = SheetSpec(material="pet", thickness_um=100)
    assert "humidity" not in {name(c) for c in causes(PAIR, "depends-on-temperature", spec=film)}


def test_a_sheet_that_the_class_cannot_serve_gets_another_class() -> None:
    found = causes(InstalledSetup(detector_class="ultrasonic-75k-high-output", gap_mm=100.0), "missed-doubles")
    assert name(found[0]) in ("wrong-class", "near-floor", "overload", "wrong-place")
    assert found[0].remedy.code in ("remedy-class", "remedy-place")


def test_each_cause_has_a_way_to_be_made_a_remedy_and_texts() -> None:
    table = fault_table._table()
    assert set(table) == set(fault_table.MAKERS)
    assert set(table) - {"as-computed"} == set(remedies.MAKERS)
    told = (set(table) - {"as-computed"}) | DESIGN
    assert {f"cause-{one}" for one in told} <= {code for code, text in texts().items() if text.kind == "cause"}
    assert {f"test-{probe.code}" for probe in PROBES} == {code for code, text in texts().items() if text.kind == "test"}


def test_every_remedy_of_the_sources_has_a_text() -> None:
    written = {
        node.value
        for module in (remedies, import_module("sheetmargin_service.measurement.diagnose"))
        for node in ast.walk(ast.parse(inspect.getsource(module)))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value.startswith("remedy-")
    }
    known = {code for code, text in texts().items() if text.kind == "remedy"}
    assert written <= known
    assert known - written <= {f"{code}-unknown" for code in written}


def test_every_symptom_moves_belief() -> None:
    usual = {name(c): c.probability for c in causes()}
    for symptom in SYMPTOMS:
        now = {name(c): c.probability for c in causes(PAIR, symptom)}
        assert max(abs(now.get(one, 0.0) - usual.get(one, 0.0)) for one in usual) > 0.01, symptom


def test_chances_of_a_state_are_those_of_drawn_readings() -> None:
    rng = np.random.default_rng(0)
    each = [
        GRID.moved(GRID.bin_nodes(np.array([[level]]), np.ones(1))[0], sigma=sigma)
        for level, sigma in ((40.0, 2.0), (55.0, 3.0))
    ]
    state = State(read=np.array([0.3, 0.7]) @ each, variance={"sheet": 9.0})
    which = rng.random(400_000) < 0.3
    drawn = np.where(which, rng.normal(40.0, 2.0, 400_000), rng.normal(55.0, 3.0, 400_000))
    assert state.above(52.0) == pytest.approx(np.mean(drawn > 52.0), abs=3e-3)
    assert state.within(38.0, 56.0) == pytest.approx(np.mean((drawn > 38.0) & (drawn < 56.0)), abs=3e-3)
    read = drawn + rng.normal(0.0, 1.0, 400_000)
    assert state.density(54.0, sigma=1.0) == pytest.approx(np.mean(np.abs(read - 54.0) < 0.5), rel=0.03)
    assert state.median == pytest.approx(np.median(drawn), abs=0.05)


@pytest.mark.parametrize(
    "spec",
    [
        COPY_PAPER,
        SheetSpec(material="greyboard", thickness_um=1500.0),
        SheetSpec(material="coated-board", grammage_gsm=400.0),
    ],
    ids=lambda spec: spec.material,
)
def test_a_machine_with_nothing_wrong_reads_what_its_set_up_is_computed_by(spec: SheetSpec) -> None:
    """Of board two lie near bypass and noise. But for what is not known of the stock, which a machine's spread takes as
    one more Gaussian and a set-up draws."""
    library, catalogue = load_library(), reference_catalogue()
    resolved_job, _ = resolved_job_of(Job(sheets=(spec,)), catalogue, library)
    detector_class = class_of(PAIR.detector_class, catalogue, field="setup")
    class_result = class_result_at(resolved_job, detector_class, PAIR, field="setup")
    choice = choice_of(PAIR, tilts=True)
    (distributions,) = distributions_at([(class_result, choice.setting, [0])])
    configured_pair = build_configured_pair(class_result, choice.setting, distributions, choice=choice)
    healthy, computed = setting_of(configured_pair, hold_ms=None).machine.healthy, distributions[0]
    healthy = replace(healthy, moves={**healthy.moves, "model": (0.0, 0.0)})
    for state in ("no_sheet", "single", "double"):
        spread = replace(getattr(computed, state), unknowns={})
        read = spread.noise.read(spread.steady(GRID)[None, :])
        assert getattr(healthy, state).median == pytest.approx(GRID.quantiles(read, (0.5,))[0, 0], abs=0.2)


def test_the_test_that_separates_is_the_one_with_the_greatest_difference() -> None:
    nothing = {probe.code: Showing(value=0.0, sigma=0.0) for probe in PROBES}
    assert separation(nothing, nothing) is None
    wave = nothing | {"move-the-sheet": Showing(value=9.0, sigma=1.0)}
    found = separation(wave, nothing)
    assert found is not None
    assert (found.code, found.expected, found.other) == ("move-the-sheet", 9.0, 0.0)
    assert found.deviations == pytest.approx(9.0 / np.hypot(1.5, 1.0))


@pytest.mark.parametrize(
    ("setup", "code", "field"),
    [
        (InstalledSetup(detector_class="optical-850", gap_mm=20.0), "not-ultrasonic", "setup/detector_class"),
        (replace(PAIR, detector_class="x"), "unknown-class", "setup/detector_class"),
        (replace(PAIR, gap_mm=500.0), "out-of-range", "setup/gap_mm"),
    ],
)
def test_set_ups_that_cannot_be_are_refused(setup: InstalledSetup, code: str, field: str) -> None:
    with pytest.raises(QuestionError) as caught:
        causes(setup)
    assert (caught.value.code, caught.value.field) == (code, field)
