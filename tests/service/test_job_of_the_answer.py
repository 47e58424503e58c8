"""An answer carries the job that it answers, so that it can be told from the answer to another."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin import Answer, Job, Sheet
from sheetmargin.decode import decode
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings

FEW = {"classes": ["ultrasonic-400k"]}


@pytest.fixture(scope="module")
def api() -> FlaskClient:
    return create_app(Settings()).test_client()


def ask(api: FlaskClient, job: dict[str, Any]) -> dict[str, Any]:
    answered = api.post("/v1/recommendations", json=job)
    assert answered.status_code == 200, answered.json
    found: dict[str, Any] = answered.json
    return found


def test_numbers_stand_as_they_came(api: FlaskClient) -> None:
    """Every digit, and the unit that was used: what an answer rounds elsewhere is exact here."""
    for sheet in (
        {"grammage_gsm": 80.123456789},
        {"basis_weight_lb": 20.0001, "basis": "bond"},
        {"caliper_pt": 4.0625},
    ):
        job = ask(api, {"sheets": [{"material": "copy-paper", **sheet}], **FEW})["job"]
        assert {name: job["sheets"][0][name] for name in sheet} == sheet


def test_it_can_be_asked_again_and_is_answered_alike(api: FlaskClient) -> None:
    answer = ask(api, {"sheets": [{"material": "Kopierpapier", "grammage_gsm": 80}], "reference": "A-1", **FEW})
    assert "reference" not in answer["job"]
    assert answer["job"]["sheets"][0]["material"] == "copy-paper"
    assert ask(api, answer["job"]) == answer | {"reference": None}


def test_a_query_is_told_as_the_job_that_it_is(api: FlaskClient) -> None:
    asked = api.get("/v1/recommendations?material=copy-paper&grammage_gsm=80&classes=ultrasonic-400k").json
    assert asked["job"] == ask(api, {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}], **FEW})["job"]


def test_the_client_has_it_as_a_job(api: FlaskClient) -> None:
    answer = decode(Answer, ask(api, {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}], **FEW}))
    assert isinstance(answer.job, Job)
    (sheet,) = answer.job.sheets
    assert isinstance(sheet, Sheet)
    assert (sheet.material, sheet.grammage_gsm) == ("copy-paper", 80)
