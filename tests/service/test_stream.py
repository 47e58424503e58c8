"""Shingled sheets: n against n + 1, whatever senses them; both numbers that alternate are right."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from sheetmargin_service.mounting.stream import Stream, in_stream, signal_table_in_beam
from sheetmargin_service.principles.protocol import SignalTable
from support.principle_cases import class_model, sheet

BOARD = {"material": "folding-boxboard", "grammage_gsm": 350, "thickness_um": 580}
STREAM = {"feeding": "shingled", "sheet_length_mm": 700, "shingle_pitch_mm": 200}
PAPER, FOIL = sheet("copy-paper", grammage_gsm=60), sheet("aluminium", thickness_um=30)
SENSED = {
    "ultrasonic-75k-high-output": PAPER,
    "capacitive-200k": PAPER,
    "thickness-roller": PAPER,
    "optical-940-high-output": PAPER,
    "eddy-current-100k": FOIL,
    "eddy-current-one-sided-1k": FOIL,
}
"""A class of each principle."""


@pytest.fixture(scope="module")
def api() -> FlaskClient:
    return create_app(Settings()).test_client()


def ask(api: FlaskClient, **job: Any) -> dict[str, Any]:
    answered = api.post("/v1/recommendations", json={"sheets": [BOARD], **job})
    assert answered.status_code == 200, answered.json
    found: dict[str, Any] = answered.json
    return found


def refused(api: FlaskClient, line: dict[str, Any], path: str = "recommendations", **job: Any) -> set[tuple[str, str]]:
    answered = api.post(f"/v1/{path}", json={"line": line, **(job or {"sheets": [BOARD]})})
    assert answered.status_code == 422
    return {(error["code"], error["pointer"]) for error in answered.json["errors"]}


@pytest.mark.parametrize(("length_mm", "states", "double"), [(500.0, (2, 3), 4), (560.0, (3, 2), 4), (400.0, (2,), 3)])
def test_what_is_correct_lies_in_the_beam_in_turn(length_mm, states, double):
    found = in_stream(replace(PAPER, plies=2), Stream(length_mm=length_mm, pitch_mm=200.0))
    assert [one.plies for one in found] == [2 * count for count in states]
    assert {one.double_plies for one in found} == {2 * double}
    assert {one.taught_plies for one in found} == {found[0].plies}
    assert {one.fewer_plies for one in found} == {None}


@pytest.mark.parametrize("class_id", SENSED)
def test_both_numbers_are_right_for_every_principle(class_id):
    made, piece = class_model(class_id), SENSED[class_id]
    found = signal_table_in_beam(made, in_stream(piece, Stream(length_mm=250.0, pitch_mm=200.0)))

    def alone(plies: int) -> SignalTable:
        return made.signal_table(replace(piece, plies=plies))

    if made.detector_class.parameters.__dict__.get("taught_on_sheet"):
        assert (found.single.p1 <= alone(1).single.p1 + 1e-9).all()
    else:
        assert (found.single.p1 <= np.minimum(alone(1).single.p1, alone(2).single.p1) + 1e-9).all()
        assert (found.single.p99 >= np.maximum(alone(1).single.p99, alone(2).single.p99) - 1e-9).all()
    assert found.double.p50[-1] == pytest.approx(alone(3).single.p50[-1], rel=0.15)
    assert found.fewer is None


def test_what_is_taught_on_one_number_is_not_sure_of_the_other():
    """A coil taught on one plate knows one plate, not what its alloy makes of two."""
    made = class_model("eddy-current-1k")
    assert made.detector_class.parameters.taught_on_sheet
    plate = sheet("aluminium", thickness_um=300)
    first, second = in_stream(plate, Stream(length_mm=250.0, pitch_mm=200.0))
    as_taught = made.signal_table(replace(second, lap=None)).single
    spread, taught = (s.p99 - s.p1 for s in (made.signal_table(second).single, as_taught))
    assert (spread > 1.2 * taught).all()
    assert made.signal_table(first).single.p99 == pytest.approx(made.signal_table(plate).single.p99)


def test_sheets_with_a_shingle_pitch_are_a_stream(api):
    said, unsaid = ({**STREAM, "feeding": feeding} for feeding in ("shingled", None))
    one, other = (ask(api, line=line, classes=["ultrasonic-180k"]) for line in (said, unsaid))
    assert one["ruled_out"] == other["ruled_out"]
    assert one["recommendations"] == other["recommendations"]
    assert one["verdict"] != ask(api, line={"sheet_length_mm": 700}, classes=["ultrasonic-180k"])["verdict"]


def test_a_stream_is_asked_for_its_pitch_and_length(api):
    pitch, length = ("missing-field", "/line/shingle_pitch_mm"), ("missing-field", "/line/sheet_length_mm")
    assert refused(api, {"feeding": "shingled"}) == {pitch, length}
    assert refused(api, {"feeding": "shingled", "sheet_length_mm": 700, "sheet_spacing_mm": 200}) == {pitch}
    assert refused(api, {"feeding": "shingled", "shingle_pitch_mm": 200}) == {length}
    assert refused(api, {"shingle_pitch_mm": 200}) == {length}
    setup = {"detector_class": "ultrasonic-180k", "gap_mm": 40}
    assert refused(api, {"feeding": "shingled"}, "predictions", sheet=BOARD, setup=setup) == {pitch, length}


@pytest.mark.parametrize("pitch", [1e-6, 2.0])
def test_more_sheets_than_are_computed_are_refused_at_the_pitch(api, pitch):
    line = {**STREAM, "shingle_pitch_mm": pitch}
    assert refused(api, line) == {("out-of-range", "/line/shingle_pitch_mm")}
    setup = {"detector_class": "ultrasonic-180k", "gap_mm": 40}
    found = refused(api, line, "predictions", sheet=BOARD, setup=setup)
    assert found == {("out-of-range", "/line/shingle_pitch_mm")}


@pytest.mark.parametrize("feeding", ["singulated", "shingled"])
def test_no_space_is_answered(api, feeding):
    line = {**STREAM, "feeding": feeding, "sheet_spacing_mm": 0, "speed_m_per_min": 60}
    ask(api, line=line, classes=["ultrasonic-180k", "thickness-roller"])


def test_three_and_four_against_five(api):
    """Board of 700 mm every 200 mm, its thickness measured: a roller holds three and four in one band, and is sure of
    it; sound does not get through. What else there is has to be lucky with the stock."""
    answer = ask(api, line={**STREAM, "speed_m_per_min": 60})
    best, *unsure = answer["recommendations"]
    assert best["verdict"] == "suitable"
    assert {one["verdict"] for one in unsure} <= {"trial-needed"}
    assert all(one["chance"] < 0.8 < best["chance"] for one in unsure)
    assert not any(one["setups"][0]["detector_class"]["id"].startswith("ultrasonic") for one in unsure)
    (setup,), (result,) = best["setups"], best["sheets"]
    assert setup["detector_class"]["id"] == "thickness-roller"
    three, four, five = (
        ask(api, sheets=[{**BOARD, "plies": n}], classes=["thickness-roller"])["recommendations"][0]["sheets"][0]
        for n in (3, 4, 5)
    )
    single = result["signal"]["single"]
    assert single["p1"] == pytest.approx(three["signal"]["single"]["p1"])
    assert single["p99"] == pytest.approx(four["signal"]["single"]["p99"])
    assert result["signal"]["double"]["p50"] == pytest.approx(five["signal"]["single"]["p50"], rel=0.02)
    low, high = (setup["profile"]["band"][edge] for edge in ("low", "high"))
    assert low < single["p1"] < single["p99"] < high < result["signal"]["double"]["p1"]
    timing = setup["timing"]
    assert (timing["plies_fewest"], timing["plies_most"]) == (3, 4)
    # 100 mm less the head's 40 mm at 1 mm/ms, read every millisecond.
    assert timing["readings_per_double"] == 60
    assert {note["code"] for note in timing["notes"]} == {"stream-alternates", "blank-stream-ends"}
    told = next(note for note in answer["trial"] if note["code"] == "read-stream-levels")
    assert (told["values"]["fewest"], told["values"]["most"], told["values"]["one_more"]) == (3, 4, 5)
    others = {one["code"] for one in [*answer["ruled_out"], *answer["alternatives"]]}
    assert {"stream-below-noise", "stream-one-looks-like-two"} <= others
    assert not others & {"below-noise", "one-looks-like-two"}


def test_a_roller_is_not_sure_of_board_whose_thickness_nobody_measured(api):
    """Of the grammage alone: boards of the grade differ in density by more than three and four differ from five."""
    weighed = {"material": "folding-boxboard", "grammage_gsm": 350}
    (roller,) = ask(api, sheets=[weighed], line=STREAM, classes=["thickness-roller"])["recommendations"]
    assert roller["verdict"] == "trial-needed"
    assert 0.5 < roller["chance"] < 0.95


def test_a_band_that_holds_one_number_alone_is_no_set_up(api):
    """Two papers are told from one; where one and two are right and three wrong, sound square on has no band for it."""
    paper, sound = [{"material": "copy-paper", "grammage_gsm": 80}], ["ultrasonic-400k"]
    assert ask(api, sheets=paper, classes=sound)["verdict"] == "suitable"
    line = {**STREAM, "sheet_length_mm": 300, "max_tilt_deg": 0}
    answer = ask(api, sheets=paper, classes=sound, line=line)
    assert answer["verdict"] == "unsuitable"
    (why,) = (one for one in [*answer["ruled_out"], *answer["alternatives"]] if one["code"] != "requirement-missed")
    assert why["code"].startswith("stream-")


WORDS_BY_MARGIN = pytest.mark.xfail(
    strict=True,
    reason="told as one that looks like two, as the percentiles over all lots overlap (2038 and 1913 um), though a lap "
    "that is read has a chance of 0.85: what the line's speed forbids has a chance of 0 from there on",
)


@pytest.mark.parametrize("thickness", [580, pytest.param(None, marks=WORDS_BY_MARGIN)])
def test_a_lap_that_is_gone_before_it_is_read_is_no(api, thickness):
    """405 mm every 200 mm: the third lies there over 5 mm, less than the head is wide; so it is of board that the
    roller is not sure of."""
    line = {**STREAM, "sheet_length_mm": 405, "speed_m_per_min": 60}
    answer = ask(api, sheets=[{**BOARD, "thickness_um": thickness}], line=line, classes=["thickness-roller"])
    assert answer["verdict"] == "unsuitable"
    (why,) = (one for one in [*answer["ruled_out"], *answer["alternatives"]] if one["code"] != "requirement-missed")
    assert (why["code"], why["values"]["limit"]) == ("line-too-fast", "lap-too-short")


def test_four_everywhere_is_for_a_trial_to_confirm(api):
    """A whole number of pitches: four against five, as long as the pitch holds."""
    answer = ask(api, line={**STREAM, "sheet_length_mm": 800}, classes=["thickness-roller"])
    assert answer["verdict"] == "trial-needed"
    (why,) = (note for note in answer["recommendations"][0]["reasons"] if note["code"] == "pitch-must-hold")
    assert (why["values"]["most"], why["values"]["one_more"]) == (4, 5)


def test_a_prediction_is_of_the_stream_as_a_recommendation_is(api):
    line = {**STREAM, "speed_m_per_min": 60}
    setup = ask(api, line=line, classes=["thickness-roller"])["recommendations"][0]
    band = setup["setups"][0]["profile"]["band"]
    band = {edge: band[edge] for edge in ("low", "high")}
    installed = {"detector_class": "thickness-roller", "gap_mm": 0, "profile": {"band": band}}
    answered = api.post("/v1/predictions", json={"sheet": BOARD, "line": line, "setup": installed})
    assert answered.status_code == 200, answered.json
    predicted = answered.json["predicted"]
    assert predicted["sheets"][0]["signal"] == setup["sheets"][0]["signal"]
    assert predicted["sheets"][0]["margin"] == setup["sheets"][0]["margin"]


def test_a_stream_is_not_diagnosed(api):
    setup = {"detector_class": "ultrasonic-180k", "gap_mm": 40}
    found = refused(api, STREAM, "diagnoses", sheet=BOARD, setup=setup, symptoms=["false-stops"])
    assert found == {("stream-not-diagnosed", "/line/feeding")}
