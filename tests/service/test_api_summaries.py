"""The answer in a few lines."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.summary import Summary, summary_of
from sheetmargin.decode import decode
from support.description import validator

QUESTIONS: list[dict[str, Any]] = [
    {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}], "reference": "Q-1"},
    {"sheets": [{"material": "pet", "thickness_um": 50}, {"material": "coated-board", "grammage_gsm": 300}]},
    {"sheets": [{"material": "tissue", "grammage_gsm": 18}], "classes": ["ultrasonic-400k"]},
]


@pytest.mark.parametrize("question", QUESTIONS, ids=["paper", "list", "nothing serves"])
def test_a_summary_is_small_and_says_what_the_answer_says(real_api: FlaskClient, question: dict[str, Any]) -> None:
    response = real_api.post("/v1/summaries", json=question)
    assert response.status_code == 200, response.get_json()
    assert len(response.data) < 2000
    validator("Summary").validate(response.get_json())
    whole = decode(Answer, real_api.post("/v1/recommendations", json=question).get_json())
    summary = decode(Summary, response.get_json())
    assert summary.to_dict() == Summary.from_json(summary_of(whole).to_json()).to_dict()
    assert (summary.detector_class is None) == (whole.best is None)


def test_by_query_and_with_a_tag_of_its_own(real_api: FlaskClient) -> None:
    query = "?material=copy-paper&grammage_gsm=80&limit=1"
    first = real_api.get(f"/v1/summaries{query}")
    assert first.get_json()["verdict"] == "suitable"
    assert first.headers["ETag"] != real_api.get(f"/v1/recommendations{query}").headers["ETag"]
    again = real_api.get(f"/v1/summaries{query}", headers={"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
