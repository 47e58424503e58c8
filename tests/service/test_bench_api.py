"""Predictions, fits and diagnoses over HTTP: shapes, languages, tags, and problems that point to what is wrong."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from support.description import validator

SHEET = {"material": "copy-paper", "grammage_gsm": 80}
SETUP = {"detector_class": "ultrasonic-400k", "gap_mm": 26}
PREDICTION = {"sheet": SHEET, "setup": SETUP}
READINGS = [
    {"state": state, "detector_class": "ultrasonic-400k", "gap_mm": 26, "attenuation_db": level}
    for state, level in (("single", 46.2), ("single", 45.8), ("double", 70), ("double", 74), ("double", 72))
]
FIT = {"sheet": SHEET, "readings": READINGS, "classes": ["ultrasonic-400k"], "reference": "sample 12"}
DIAGNOSIS = {"sheet": SHEET, "setup": SETUP, "symptoms": ["false-stops"]}
CALLS = {"predictions": PREDICTION, "fits": FIT, "diagnoses": DIAGNOSIS}
KINDS = {"predictions": "Prediction", "fits": "Fit", "diagnoses": "Diagnosis"}


def ask(api: FlaskClient, call: str, body: Any, **headers: str) -> Any:
    response = api.post(f"/v1/{call}", json=body, headers=headers)
    assert response.status_code == 200, response.get_json()
    return response.get_json()


def errors(api: FlaskClient, call: str, body: Any) -> list[tuple[str, str]]:
    response = api.post(f"/v1/{call}", json=body)
    assert response.status_code == 422, response.get_json()
    assert response.mimetype == "application/problem+json"
    told = response.get_json()["errors"]
    assert all(error["detail"] and error["expected"] for error in told)
    return [(error["code"], error["pointer"]) for error in told]


@pytest.mark.parametrize("call", CALLS)
def test_answers_are_valid_by_their_schemas(real_api: FlaskClient, call: str) -> None:
    validator(KINDS[call]).validate(ask(real_api, call, CALLS[call]))


@pytest.mark.parametrize("call", CALLS)
def test_the_same_resolved_job_gets_the_same_answer(real_api: FlaskClient, call: str) -> None:
    first, again = (real_api.post(f"/v1/{call}", json=CALLS[call]) for _ in range(2))
    assert first.data == again.data
    assert "ETag" not in first.headers
    assert first.headers["Cache-Control"] == "no-store"


def test_a_prediction_has_a_map(real_api: FlaskClient) -> None:
    grid = {"gap_mm": [20, 26], "tilt_deg": [0, 10, 20]}
    answer = ask(real_api, "predictions", PREDICTION | {"grid": grid})
    assert answer["gap_tilt"]["gap_mm"] == [20, 26]
    assert [len(row) for row in answer["gap_tilt"]["margin"]] == [3, 3]
    assert (answer["positions"], answer["grammages"]) == ([], [])


@pytest.mark.parametrize("tilts", [[0, 3e-6], [1e-12], [0, 1e-9, 44.999999]])
def test_a_map_of_next_to_no_tilt_is_answered(real_api: FlaskClient, tilts: list[float]) -> None:
    found = ask(real_api, "predictions", PREDICTION | {"grid": {"gap_mm": [26], "tilt_deg": tilts}})["gap_tilt"]
    assert len(found["margin"][0]) == len(tilts)
    assert found["margin"][0][0] > 5.0


def test_a_fitted_sheet_is_taken_by_every_call(real_api: FlaskClient) -> None:
    answer = ask(real_api, "fits", FIT)
    assert answer["reference"] == "sample 12"
    sheet = answer["fit"]["sheet"]
    assert sheet["material"] == "custom"
    assert "plies" not in sheet
    again = ask(real_api, "recommendations", {"sheets": [sheet], "classes": ["ultrasonic-400k"]})
    assert again["recommendations"] == answer["fitted"]["recommendations"]
    ask(real_api, "predictions", PREDICTION | {"sheet": sheet})
    ask(real_api, "diagnoses", DIAGNOSIS | {"sheet": sheet})
    assert ask(real_api, "fits", FIT | {"sheet": sheet})["fit"]["library_sheet"]["material"] == "custom"


def test_a_diagnosis_is_told_in_german(real_api: FlaskClient) -> None:
    answer = ask(real_api, "diagnoses", DIAGNOSIS, **{"Accept-Language": "de"})
    first = answer["causes"][0]
    assert first["cause"]["text"] != first["cause"]["code"]
    assert "Fläche" in " ".join(cause["cause"]["text"] for cause in answer["causes"])
    assert {note["code"] for note in answer["cautions"]} >= {"not-a-safety-device", "isolate-before-work"}


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({0: {"level_pct": 0.5}}, [("conflicting-fields", "/readings/0/attenuation_db")]),
        ({2: {"attenuation_db": None, "level_pct": 0.02}}, [("mixed-units", "/readings/2/level_pct")]),
        ({1: {"attenuation_db": -20}}, [("impossible-level", "/readings/1/attenuation_db")]),
        ({4: {"detector_class": "ultrasonic-40k"}}, [("unknown-class", "/readings/4/detector_class")]),
        ({4: {"gap_mm": 900}}, [("out-of-range", "/readings/4/gap_mm")]),
        ({4: {"state": "three"}}, [("unknown-value", "/readings/4/state")]),
        ({0: {"colour": "red"}}, [("unknown-field", "/readings/0/colour")]),
    ],
)
def test_a_wrong_reading_is_pointed_at(
    api: FlaskClient, change: dict[int, dict[str, Any]], expected: list[tuple[str, str]]
) -> None:
    readings = [
        {key: value for key, value in (reading | change.get(index, {})).items() if value is not None}
        for index, reading in enumerate(READINGS)
    ]
    assert errors(api, "fits", FIT | {"readings": readings})[: len(expected)] == expected


@pytest.mark.parametrize("percent", [0, -3, 250])
def test_an_impossible_percentage(api: FlaskClient, percent: float) -> None:
    readings = [
        {"state": "single", "detector_class": "ultrasonic-400k", "gap_mm": 26, "level_pct": value}
        for value in (0.5, percent, 0.5)
    ]
    assert errors(api, "fits", FIT | {"readings": readings}) == [("impossible-level", "/readings/1/level_pct")]


def test_volts_without_the_open_path(api: FlaskClient) -> None:
    readings = [{"state": "single", "detector_class": "ultrasonic-400k", "gap_mm": 26, "volts": 0.01}] * 3
    assert errors(api, "fits", FIT | {"readings": readings}) == [("no-open-path", "/readings/0/volts")]


def test_nothing_above_the_noise(api: FlaskClient) -> None:
    readings = [reading | {"attenuation_db": 115} for reading in READINGS]
    assert errors(api, "fits", FIT | {"readings": readings}) == [
        ("none-above-noise", f"/readings/{index}") for index in range(5)
    ]


def test_one_weaker_than_two(api: FlaskClient) -> None:
    other = {"single": "double", "double": "single"}
    readings = [reading | {"state": other[str(reading["state"])]} for reading in READINGS]
    found = errors(api, "fits", FIT | {"readings": readings + readings[:2]})
    assert {code for code, _ in found} == {"one-above-two"}


def test_fewer_readings_than_parameters(api: FlaskClient) -> None:
    assert errors(api, "fits", FIT | {"readings": READINGS[:4]}) == [("too-few-readings", "/readings")]


@pytest.mark.parametrize(
    ("call", "change", "expected"),
    [
        (
            "predictions",
            {"sheet": {"material": "copy-papr", "grammage_gsm": 80}},
            ("unknown-material", "/sheet/material"),
        ),
        ("predictions", {"setup": SETUP | {"gap_mm": 3}}, ("out-of-range", "/setup/gap_mm")),
        ("predictions", {"grid": {"gap_mm": [20]}}, ("missing-field", "/grid")),
        ("predictions", {"grid": {"gap_mm": [20, 10], "tilt_deg": [0]}}, ("not-rising", "/grid/gap_mm")),
        ("predictions", {"grid": {"position_mm": [0] * 300}}, ("wrong-length", "/grid/position_mm")),
        ("predictions", {"grid": {"position_mm": [0], "grammage_gsm": [80]}}, ("conflicting-fields", "/grid")),
        (
            "predictions",
            {"setup": SETUP | {"profile": {"band": {"low": 60, "high": 25}}}},
            ("contradiction", "/setup/profile/band/low"),
        ),
        ("diagnoses", {"symptoms": ["false-stop"]}, ("unknown-value", "/symptoms/0")),
        (
            "diagnoses",
            {"setup": {"detector_class": "optical-850", "gap_mm": 20}},
            ("not-ultrasonic", "/setup/detector_class"),
        ),
        ("diagnoses", {"readings": [{"state": "single"}]}, ("missing-field", "/readings/0")),
        ("diagnoses", {"catalogue": "other"}, ("unknown-catalogue", "/catalogue")),
        ("fits", {"readings": []}, ("empty-list", "/readings")),
        ("fits", {"sheet": {**SHEET, "plies": 3}}, ("several-plies", "/sheet/plies")),
    ],
)
def test_other_faults_are_pointed_at(
    api: FlaskClient, call: str, change: dict[str, Any], expected: tuple[str, str]
) -> None:
    assert expected in errors(api, call, CALLS[call] | change)


def test_a_class_that_is_misspelt_gets_the_nearest(api: FlaskClient) -> None:
    body = PREDICTION | {"setup": SETUP | {"detector_class": "ultrasonic-40k"}}
    error = api.post("/v1/predictions", json=body).get_json()["errors"][0]
    assert "ultrasonic-400k" in error["suggestions"]
