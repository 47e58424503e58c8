"""The answer in a few lines, or with the fields that are wanted."""

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


FIELDS = "reference,verdict,recommendations.chance,recommendations.setups.geometry.gap_mm.nominal,sheets.made_of"


def test_an_answer_has_the_fields_that_are_wanted(real_api: FlaskClient) -> None:
    whole = real_api.post("/v1/recommendations", json=QUESTIONS[0]).get_json()
    wanted = {
        "reference": "Q-1",
        "verdict": whole["verdict"],
        "recommendations": [
            {
                "chance": one["chance"],
                "setups": [
                    {"geometry": {"gap_mm": {"nominal": s["geometry"]["gap_mm"]["nominal"]}}} for s in one["setups"]
                ],
            }
            for one in whole["recommendations"]
        ],
        "sheets": [{"made_of": whole["sheets"][0]["made_of"]}],
    }
    response = real_api.post(f"/v1/recommendations?fields={FIELDS}", json=QUESTIONS[0])
    assert response.get_json() == wanted
    assert len(response.data) < 1000
    lines = real_api.post(f"/v1/recommendations/batch?fields={FIELDS}&start_index=1", json=[{}, QUESTIONS[0]]).get_json(
        force=True
    )
    assert lines == [{"index": 1, "reference": "Q-1", "result": wanted}]


def test_by_query_each_choice_of_fields_has_a_tag_of_its_own(real_api: FlaskClient) -> None:
    query = "/v1/recommendations?material=copy-paper&grammage_gsm=80&limit=1"
    answers = [real_api.get(query + more) for more in ("", "&fields=verdict", "&fields=verdict,%20sheets.made_of")]
    assert len({answer.headers["ETag"] for answer in answers}) == 3
    assert answers[1].get_json() == {"verdict": "suitable"}
    assert list(answers[2].get_json()) == ["verdict", "sheets"]


@pytest.mark.parametrize(
    ("names", "says", "near"),
    [
        ("verdikt", "The answer has no field 'verdikt'.", "verdict"),
        ("verdict,recommendations.chanse", "The answer has no field 'recommendations.chanse'.", "chance"),
        ("verdict.de", "verdict has no parts.", None),
        ("verdict,", "The answer has no field ''.", None),
    ],
)
def test_a_field_that_there_is_not_is_answered_with_the_nearest(
    api: FlaskClient, names: str, says: str, near: str | None
) -> None:
    for path, body in (("/v1/recommendations", QUESTIONS[0]), ("/v1/recommendations/batch", [QUESTIONS[0]])):
        response = api.post(f"{path}?fields={names}", json=body)
        assert response.status_code == 422
        (error,) = response.get_json()["errors"]
        assert (error["code"], error["parameter"], error["detail"]) == ("unknown-field", "fields", says)
        assert error.get("suggestions", [None])[0] == near


def test_a_batch_of_summaries(real_api: FlaskClient) -> None:
    alone = [real_api.post("/v1/summaries", json=question).get_json() for question in QUESTIONS]
    path = "/v1/recommendations/batch?view=summary"
    lines = real_api.post(path, json=QUESTIONS, buffered=True).get_json(force=True)
    assert [line["result"] for line in lines] == alone
    both = real_api.post(f"{path}&fields=verdict", json=QUESTIONS)
    (error,) = both.get_json()["errors"]
    assert (both.status_code, error["code"], error["parameter"]) == (422, "conflicting-fields", "fields")
