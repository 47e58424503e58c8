"""From a job to a ranked recommendation, whole."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from sheetmargin.contract.job import Controller, Double, Environment, Job, Line, Require, Targets
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.measure import InstalledSetup, PredictionQuestion
from sheetmargin_service.api.encode import encode
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.predict import predict
from sheetmargin_service.messages.say import texts
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic import pair as pair_module
from sheetmargin_service.principles.ultrasonic.tilts import searched_tilts_deg
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.class_filter import FILTERED
from sheetmargin_service.selection.misreads import rates_of
from sheetmargin_service.selection.readings import readings_of
from sheetmargin_service.selection.recommend import rank, recommend
from sheetmargin_service.selection.search import receiver_at
from sheetmargin_service.selection.targets import ORDER, SUITABLE, judge
from support.forget import forget_settings

CATALOGUE, LIBRARY = reference_catalogue(), load_library()
ULTRASONIC = ("ultrasonic",)
ELECTRODES = {"capacitive-200k", "capacitive-200k-wide"}
PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
CARD = SheetSpec(material="pvc-rigid", thickness_um=760.0)
BOARD = SheetSpec(material="coated-board", grammage_gsm=250.0)
COATED = SheetSpec(material="coated-paper", grammage_gsm=90.0)
FILM = SheetSpec(material="pet", thickness_um=12.0)


def answer(*sheets, catalogue=CATALOGUE, **job):
    return recommend(Job(sheets=sheets, **job), catalogue=catalogue, library=LIBRARY)


def written(found):
    """As it leaves: rounded to what the contract states."""
    return json.dumps(encode(found, language="en"), sort_keys=True)


@pytest.mark.parametrize("sheets", [(PAPER,), (PAPER, CARD, BOARD)], ids=["one", "list"])
def test_same_job_same_answer_byte_for_byte(sheets):
    assert written(answer(*sheets, principles=ULTRASONIC)) == written(answer(*sheets, principles=ULTRASONIC))


def test_the_order_of_the_catalogue_does_not_matter():
    turned = replace(CATALOGUE, classes=tuple(reversed(CATALOGUE.classes)))
    assert written(answer(PAPER, limit=30)) == written(answer(PAPER, catalogue=turned, limit=30))


def test_the_order_of_the_sheets_does_not_matter():
    """The same set-ups serve the same sheets with the same margins, whichever comes first."""

    def told(*sheets):
        found = answer(*sheets, principles=ULTRASONIC)
        names = [f"{s.material} {s.grammage_gsm:.1f}" for s in found.sheets]
        ranked = []
        for r in found.recommendations:
            setups = sorted(
                (
                    s.detector_class.id,
                    s.geometry.gap_mm.nominal,
                    s.geometry.tilt_deg.nominal,
                    s.profile.id,
                    sorted((names[x.index], x.margin.single, x.margin.double) for x in r.sheets if x.setup == s.index),
                )
                for s in r.setups
            )
            ranked.append((r.verdict, setups, sorted(names[u.index] for u in r.not_served)))
        return ranked

    assert told(PAPER, CARD, BOARD) == told(BOARD, PAPER, CARD)


def test_the_reference_takes_no_part():
    first, second = answer(PAPER, reference="a"), answer(PAPER, reference="b")
    assert (first.reference, second.reference) == ("a", "b")
    assert written(replace(first, reference=None)) == written(replace(second, reference=None))


def test_a_grid_twice_as_fine_ranks_alike(monkeypatch):
    """Twice the gaps and twice the tilts: the same classes in the same order, margins within 1 dB."""
    coarse = answer(PAPER, principles=ULTRASONIC, limit=10)
    monkeypatch.setattr(pair_module, "GAPS", 2 * pair_module.GAPS - 1)
    monkeypatch.setattr(
        pair_module, "searched_tilts_deg", lambda **beam: np.arange(0.0, searched_tilts_deg(**beam)[-1] + 0.1, 2.5)
    )
    forget_settings()
    try:
        fine = answer(PAPER, principles=ULTRASONIC, limit=10)
    finally:
        forget_settings()
    order = [[r.setups[0].detector_class.id for r in found.recommendations] for found in (coarse, fine)]
    assert order[0] == order[1]
    for rough, smooth in zip(coarse.recommendations, fine.recommendations, strict=True):
        assert rough.verdict == smooth.verdict
        assert rough.sheets[0].margin.single == pytest.approx(smooth.sheets[0].margin.single, abs=1.0)


def test_ranks_follow_the_verdict():
    found = answer(BOARD, limit=30)
    verdicts = [ORDER[r.verdict] for r in found.recommendations]
    assert verdicts == sorted(verdicts)
    assert [r.rank for r in found.recommendations] == list(range(1, len(verdicts) + 1))
    assert found.verdict == found.recommendations[0].verdict


def test_every_admitted_class_is_recommended_or_told_why_not():
    for sheets in ((PAPER,), (PAPER, CARD), (FILM,)):
        found = answer(*sheets, limit=2)
        named = {s.detector_class.id for r in found.recommendations for s in r.setups}
        rejected = {r.detector_class for r in (*found.ruled_out, *found.alternatives)}
        assert named | rejected == {c.id for c in CATALOGUE.classes}
        assert not named & rejected


def test_the_limit_holds_and_the_rest_is_told():
    found = answer(PAPER, limit=1)
    assert len(found.recommendations) == 1
    told = [one for one in found.alternatives if one.code != "same-as-another"]
    assert {one.code.rpartition("-")[0]: one.values["above"] for one in told} == {"behind-by": 1}


def test_what_nothing_serves_is_unsuitable_and_no_error():
    found = answer(FILM, principles=ULTRASONIC)
    assert found.verdict == "unsuitable"
    assert found.recommendations == ()
    considered = {r.code for r in (*found.ruled_out, *found.alternatives) if r.code != FILTERED}
    assert considered <= {"one-looks-like-two", "overload", "target-missed", "too-transparent"}
    assert found.trial == ()


def test_filters_that_leave_nothing_are_no_error_and_every_class_tells_what_it_misses():
    found = answer(PAPER, require=Require(ingress="IP69K", output=("relay",)))
    assert (found.verdict, found.recommendations) == ("unsuitable", ())
    assert [r.detector_class for r in found.ruled_out] == sorted(c.id for c in CATALOGUE.classes)
    own = {c.id: ", ".join(c.output) for c in CATALOGUE.classes}
    for r in (*found.ruled_out, *found.alternatives):
        assert r.code == FILTERED
        assert r.values == {"requirement": "output", "required": "relay", "own": own[r.detector_class]}


def test_classes_that_are_filtered_stand_beside_those_that_were_considered():
    found = answer(PAPER, principles=ULTRASONIC)
    named = {s.detector_class.id for r in found.recommendations for s in r.setups}
    others = {r.detector_class for r in (*found.ruled_out, *found.alternatives)}
    assert others | named == {c.id for c in CATALOGUE.classes}
    told = {r.detector_class: r.values for r in (*found.ruled_out, *found.alternatives) if r.code == FILTERED}
    assert told == {
        c.id: {"requirement": "principles", "required": "ultrasonic", "own": c.principle}
        for c in CATALOGUE.classes
        if c.principle != "ultrasonic"
    }


def test_a_sheet_that_makes_no_sense_is_an_error():
    with pytest.raises(QuestionError):
        answer(SheetSpec(material="copy-paper", grammage_gsm=80.0, thickness_um=5000.0))


def test_a_line_that_leaves_no_room_rejects_what_does_not_fit():
    tight = Line(clearance_above_mm=3.0, clearance_below_mm=3.0)
    found = answer(PAPER, principles=ULTRASONIC, line=tight)
    assert found.verdict == "unsuitable"
    considered = {r.code: r.values for r in (*found.ruled_out, *found.alternatives) if r.code != FILTERED}
    assert set(considered) == {"no-room-for-head"}
    assert considered["no-room-for-head"]["available_mm"] == 6.0  # of both sides: the sheet need not run in the middle


def test_harder_targets_never_better_the_verdict():
    verdicts = [
        ORDER[answer(COATED, classes=("ultrasonic-300k",), targets=Targets(double_as_single=ppm)).verdict]
        for ppm in (1e5, 1e3, 10.0, 1.0)
    ]
    assert verdicts == sorted(verdicts)
    assert verdicts[0] < verdicts[-1]


def test_a_line_too_fast_is_unsuitable_and_a_slower_one_is_not():
    def verdict(speed):
        line = Line(speed_m_per_min=speed, sheet_length_mm=300.0, sheet_spacing_mm=20.0)
        found = answer(
            PAPER, classes=("ultrasonic-400k",), line=line, controller=Controller(scan_ms=10, input_filter_ms=3)
        )
        return found.verdict, [r.code for r in (*found.ruled_out, *found.alternatives) if r.code != FILTERED]

    assert verdict(300.0) == ("unsuitable", ["line-too-fast"])
    assert verdict(10.0)[0] != "unsuitable"


def test_a_line_of_which_too_little_is_known_is_not_called_too_fast():
    found = answer(PAPER, classes=("ultrasonic-400k",), line=Line(sheet_length_mm=300.0))
    assert found.verdict != "unsuitable"


def test_corrugated_board_is_at_most_a_trial_and_says_so():
    found = answer(SheetSpec(construction="corrugated-e"), principles=ULTRASONIC)
    assert found.verdict == "trial-needed"
    assert "only-a-trial-can-tell" in {n.code for n in found.recommendations[0].reasons}


def test_weather_spreads_the_signal():
    """At one set-up, as what is searched for moves with the weather, and where air absorbs most: elsewhere the drift of
    the pair hides it."""
    hardy = replace(CATALOGUE, classes=tuple(replace(c, temperature_min_c=-40.0) for c in CATALOGUE.classes))
    asked = PredictionQuestion(
        sheet=PAPER, setup=InstalledSetup(detector_class="ultrasonic-500k", gap_mm=22.0, tilt_deg=0.0)
    )

    def spread(low, high):
        job = Job(sheets=(PAPER,), environment=Environment(temperature_min_c=low, temperature_max_c=high))
        found = predict(asked, job=job, catalogue=hardy, library=LIBRARY)
        signal = found.predicted.sheets[0].signal.single
        return signal.p99 - signal.p1

    assert spread(-5.0, 45.0) > spread(20.0, 21.0)


def test_bonded_cards_are_a_harder_job():
    """Loose cards are told apart but for those that cling, up to 10,000 in a million. Of bonded ones two read 20 lg 2 =
    6 dB more than one, and the spread of each is as wide."""
    bonded = replace(CARD, double=Double(contact="bonded"))
    square = {"line": Line(max_tilt_deg=0.0), "targets": Targets(double_as_single=20_000.0)}
    assert answer(CARD, principles=ULTRASONIC, **square).verdict == "suitable"
    found = answer(bonded, principles=ULTRASONIC, **square)
    assert found.verdict == "trial-needed"
    assert all(r.sheets[0].margin.double < 0.0 for r in found.recommendations)


def test_what_moves_the_signal_is_among_the_reasons():
    """Two sheets of paper by their air; one by drift: the figures are those of the detail."""
    reasons = answer(PAPER, classes=("ultrasonic-300k",)).recommendations[0].reasons
    told = next(n.values for n in reasons if n.code == "most-sensitive")
    assert told["double_input"] == "trapped-air"
    assert told["single_input"] == "drift"
    assert told["single_move"] == pytest.approx(3.0 / 1.96, abs=0.05)
    assert told["unit"] == "dB"


def test_every_code_of_an_answer_has_a_text():
    for sheets in ((PAPER,), (FILM,), (PAPER, CARD, FILM), (SheetSpec(construction="corrugated-e"),)):
        found = answer(*sheets)
        codes = {r.code for r in (*found.ruled_out, *found.alternatives)} | {
            n.code for n in (*found.trial, *found.assumptions, *found.cautions)
        }
        for r in found.recommendations:
            codes |= {n.code for n in r.reasons} | {u.code for u in r.not_served}
        assert codes <= set(texts()), codes - set(texts())


def test_every_assumption_points_at_the_job():
    found = answer(PAPER, CARD)
    assert all(a.pointer and a.pointer.startswith("/") for a in found.assumptions if a.code != "filled-parameters")
    assert {a.pointer.split("/")[2] for a in found.assumptions if a.pointer and a.pointer.startswith("/sheets")} == {
        "0",
        "1",
    }


@pytest.mark.parametrize(
    ("permeance", "moving"),
    [
        pytest.param(1e-4, ELECTRODES, id="tight"),
        pytest.param(
            None,
            {"ultrasonic-300k", "ultrasonic-300k-fork", "ultrasonic-300k-sealed", *ELECTRODES},
            id="porous",
        ),
    ],
)
def test_positions_stay_where_they_are_while_the_sheet_hardly_changes(permeance, moving):
    """Kraftliner of 150 g/m2 within 1.75 % either way: a class that serves it keeps its position, whatever its rank.
    Where the sheet is porous the beam of 300 kHz, in each of its housings, changes it once, and not back: square on
    falls behind a tilt by more than a step. Electrodes change their gap once: the heavier the sheet, the more a gap
    that is set to a tenth of a millimetre moves its reading, by the square of the gap.

    Of tight sheets up to 1000 doubles in a million cling, with the chance that `suitable` asks for: a target of 1000
    would ask on which side of the limit a setting falls, and not how it reads.
    """
    positions = {}
    for share in np.linspace(-0.0175, 0.0175, 8):
        liner = SheetSpec(
            material="kraftliner",
            grammage_gsm=round(150.0 * (1.0 + share), 3),
            air_permeance_um_per_pa_s=permeance,
        )
        found = answer(liner, limit=20, targets=Targets(double_as_single=3000.0))
        for one in (r for r in found.recommendations if r.verdict == "suitable"):
            (setup,) = one.setups
            tilt = setup.geometry.tilt_deg and setup.geometry.tilt_deg.nominal
            positions.setdefault(setup.detector_class.id, []).append((setup.geometry.gap_mm.nominal, tilt))
    assert len(positions) >= 4
    changed = {name: sum(a != b for a, b in pairwise(found)) for name, found in positions.items()}
    assert max(changed.values()) <= 1, changed
    assert {name for name, count in changed.items() if count} <= moving, changed


def test_a_verdict_that_is_worse_than_its_chance_says_why():
    """A drawn board is computed by an approximation: at most a trial, however likely its targets are met."""
    told = answer(SheetSpec(construction="corrugated-e"), limit=20).recommendations
    limited = [one for one in told if one.chance >= 0.95]
    assert limited
    for one in told:
        assert (one.limited_by is None) == (one.verdict == ("suitable" if one.chance >= 0.95 else "trial-needed"))
    for one in limited:
        assert one.verdict == "trial-needed"
        assert one.limited_by in {reason.code for reason in one.reasons}


def test_a_band_lies_where_its_targets_are_met_most_likely():
    """Where they are not sure to be: every band a few steps higher or lower comes to no better a chance."""
    job = Job(sheets=(BOARD,), principles=ULTRASONIC)
    moved = 0
    for plan in rank(job, catalogue=CATALOGUE, library=LIBRARY).plans:
        (pair,) = plan.configured_pairs
        balanced = choose_bands(
            [pair.served[0].signal_table],
            receiver_at(pair.class_result.class_model.receiver, pair.choice.setting),
            step=1,
        )
        moved += int(balanced.high[0]) != pair.high
        readings = readings_of(pair.class_result.detector_class, pair.served[0].timing)
        for by in (-3, -1, 1, 3) if plan.chance < SUITABLE else ():
            rates = rates_of(
                pair.served[0].distribution,
                pair.class_result.principle.grid,
                low=pair.low,
                high=pair.high + by,
                readings=readings,
            )
            other = judge(rates, pair.class_result.resolved_job.targets)
            assert other.chance <= plan.chance + 0.01, (pair.class_result.detector_class.id, by)
    assert moved >= 3
