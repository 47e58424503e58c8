"""The line's clock in an answer: what is given decides, what is taken is told, and what decides stands everywhere."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin import Answer
from sheetmargin.decode import decode
from sheetmargin.report.render import render
from sheetmargin.report.view import View
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings

PAPER = {"material": "copy-paper", "grammage_gsm": 80}
FAST = {"speed_m_per_min": 300, "sheet_length_mm": 297, "sheet_spacing_mm": 60}
SLOW = {**FAST, "speed_m_per_min": 30}


@pytest.fixture(scope="module")
def api() -> FlaskClient:
    return create_app(Settings()).test_client()


def job(line: dict[str, Any], **controller: float) -> dict[str, Any]:
    return {"sheets": [PAPER], "line": line, "controller": controller, "classes": ["ultrasonic-400k"]}


def ask(api: FlaskClient, line: dict[str, Any], **controller: float) -> dict[str, Any]:
    answered = api.post("/v1/recommendations", json=job(line, **controller))
    assert answered.status_code == 200, answered.json
    found: dict[str, Any] = answered.json
    return found


def taken(answer: dict[str, Any]) -> dict[str, float]:
    every = {note["pointer"]: note["value"] for note in answer["assumptions"] if note["code"] == "default"}
    late = ("/controller/", "/line/sheet_")
    return {pointer: value for pointer, value in every.items() if pointer.startswith(late)}


def late(answer: dict[str, Any]) -> list[dict[str, Any]]:
    return [note for one in answer["recommendations"] for note in one["reasons"] if "too-fast" in note["code"]]


@pytest.mark.parametrize("given", [{"scan_ms": 500}, {"input_filter_ms": 500}, {"scan_ms": 500, "input_filter_ms": 3}])
def test_half_a_second_of_scan_is_not_suitable_at_300_m_per_min(api, given):
    answer = ask(api, FAST, **given)
    assert answer["verdict"] == "unsuitable"
    (why,) = (one for one in [*answer["ruled_out"], *answer["alternatives"]] if one["code"] != "requirement-missed")
    assert (why["code"], why["values"]["limit"]) == ("line-too-fast", "hold-masks-next-sheet")
    assert "the controller must see the output" in why["text"]


def test_where_only_speed_and_scan_are_known_a_trial_must_tell(api):
    line = {"speed_m_per_min": 300}
    answer = ask(api, line, scan_ms=500)
    assert answer["verdict"] == "trial-needed"
    assert set(taken(answer)) == {"/controller/input_filter_ms", "/line/sheet_length_mm", "/line/sheet_spacing_mm"}
    assert ask(api, line, scan_ms=1)["verdict"] == "suitable"
    # What is taken of sheets is no sheet of the job: how often it is read is not told.
    assert answer["recommendations"][0]["setups"][0]["timing"]["readings_per_sheet"] is None


def test_without_a_word_on_times_nothing_is_taken(api):
    assert taken(ask(api, {})) == taken(ask(api, {"speed_m_per_min": 300})) == {}


def test_the_hold_stands_wherever_speed_and_sheet_are_known(api):
    for line in (SLOW, {name: SLOW[name] for name in ("speed_m_per_min", "sheet_length_mm")}):
        answer = ask(api, line)
        assert set(taken(answer)) == {"/controller/scan_ms", "/controller/input_filter_ms"}
        setup = answer["recommendations"][0]["setups"][0]
        assert setup["timing"]["hold_min_ms"] == sum(taken(answer).values())
        assert setup["profile"]["hold_ms"] == setup["timing"]["hold_ms"] >= setup["timing"]["hold_min_ms"]
        assert answer["verdict"] == "suitable"


def test_what_is_taken_lowers_a_verdict_and_says_so_everywhere(api):
    answer = ask(api, FAST)
    assert answer["verdict"] == answer["recommendations"][0]["verdict"] == "trial-needed"
    (reason,) = late(answer)
    assert reason["code"] == "maybe-too-fast"
    assert reason["values"]["speed_max_m_per_min"] < reason["values"]["speed_m_per_min"] == 300
    sheet = api.post("/v1/setup-sheets", json=job(FAST))
    head, _, _ = unescape(sheet.text).partition('<section class="cautions">')
    assert reason["text"] in re.sub(r"\s+", " ", head)
    head, _, _ = render(decode(Answer, answer), View()).partition("\n\n")
    assert reason["text"] in re.sub(r"\s+", " ", head)


def test_what_does_not_decide_is_not_cried(api):
    answer = ask(api, SLOW, scan_ms=5)
    assert answer["verdict"] == "suitable"
    assert not late(answer)
    sheet = api.post("/v1/setup-sheets", json=job(SLOW, scan_ms=5))
    assert 'class="late"' not in sheet.text


def test_a_prediction_on_a_line_too_fast_is_not_suitable(api):
    best = ask(api, SLOW, scan_ms=5)["recommendations"][0]
    setup = {
        "detector_class": "ultrasonic-400k",
        "gap_mm": best["setups"][0]["geometry"]["gap_mm"]["nominal"],
        "profile": {"band": {edge: best["setups"][0]["profile"]["band"][edge] for edge in ("low", "high")}},
    }

    def predicted(line: dict[str, Any]) -> dict[str, Any]:
        body = {"sheet": PAPER, "line": line, "controller": {"scan_ms": 500}, "setup": setup}
        found: dict[str, Any] = api.post("/v1/predictions", json=body).json["predicted"]
        return found

    assert predicted({})["verdict"] == best["verdict"] == "suitable"
    fast = predicted(FAST)
    assert fast["verdict"] == "unsuitable"
    assert [note["code"] for note in fast["reasons"] if "too-fast" in note["code"]] == ["too-fast"]


def test_a_double_is_read_as_long_as_it_overlaps(api):
    """An overlap of 40 mm, of which 30 are out of the spot: at 300 m/min a few readings, where a sheet has many."""
    sheet = {**PAPER, "double": {"overlap_mm": 40}}
    body = {**job(FAST, scan_ms=1, input_filter_ms=1), "sheets": [sheet]}
    timing = api.post("/v1/recommendations", json=body).json["recommendations"][0]["setups"][0]["timing"]
    assert timing["readings_per_double"] < timing["readings_per_sheet"] / 5


def test_a_stream_is_told_to_whoever_mounts_the_pair(api):
    board = {"material": "folding-boxboard", "grammage_gsm": 350}
    line = {"feeding": "shingled", "sheet_length_mm": 700, "shingle_pitch_mm": 200, "speed_m_per_min": 60}
    body = {"sheets": [board], "line": line, "classes": ["thickness-roller"]}
    answer = api.post("/v1/recommendations", json=body).json
    notes = answer["recommendations"][0]["setups"][0]["timing"]["notes"]
    page = unescape(api.post("/v1/setup-sheets", json=body).text)
    printed = render(decode(Answer, answer), View(), show=["mounting"])
    assert {note["code"] for note in notes} == {"stream-alternates", "blank-stream-ends"}
    for note in notes:
        assert note["text"] in re.sub(r"\s+", " ", page)
        assert note["text"] in re.sub(r"\s+", " ", printed)
