"""Recommendations over HTTP: shape, caching, languages."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.messages.say import texts
from support.answers import CountingRecommend
from support.jobs import FULL_JOB

PATH = "/v1/recommendations"
QUERY = f"{PATH}?material=copy-paper&grammage_gsm=80"
JOB = {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}


def test_a_job_comes_to_the_physics_as_it_was_sent(api: FlaskClient, recommend: CountingRecommend) -> None:
    api.post(PATH, json=FULL_JOB)
    (job,) = recommend.calls
    assert job.line.clearance_below_mm == 35
    assert (job.environment.temperature_max_c, job.controller.scan_ms, job.targets.double_as_single) == (35, 10, 10)
    assert (job.require.housing, job.require.contactless, job.classes) == (("M18",), True, ("ultrasonic-180k",))
    assert job.sheets[0].label == "cover"
    assert job.sheets[2].double.contact == "partial"
    assert job.sheets[3].layers is not None
    assert [layer.thickness_um for layer in job.sheets[3].layers] == [None, 20, 50]
    assert job.sheets[4].corrugated is not None
    assert [wall.flute for wall in job.sheets[4].corrugated.walls] == ["B", "E"]
    assert job.sheets[5].plies == 4
    custom = next(sheet.custom for sheet in job.sheets if sheet.custom is not None)
    assert custom.trapped_air_um is not None
    assert custom.trapped_air_um.p95 == 60


def test_the_answer_speaks_the_contract(api: FlaskClient) -> None:
    answer = api.post(PATH, json={**JOB, "reference": "quote 4711-2"}).get_json()
    assert answer["reference"] == "quote 4711-2"
    best = answer["recommendations"][0]
    assert set(best["changeovers"]) == {"class", "geometry", "profile"}
    setup = best["setups"][0]
    assert setup["detector_class"]["frequency_khz"] == -1234.6
    assert setup["profile"]["band"] == {"low": 3, "high": 3, "unit": "text", "quantity": "text"}
    assert setup["geometry"]["gap_mm"] == {"nominal": -1234.6, "min": -1234.6, "max": -1234.6}
    assert setup["mounting"]["emitter"] == {"x_mm": -1234.6, "y_mm": -1234.6}
    assert setup["timing"]["readings_per_sheet"] == 3
    assert len(best["sheets"][0]["misread_ppm"]) == 6
    assert best["sheets"][0]["misread_ppm"]["double_as_single"]["estimate"] == -1234.568
    assert answer["assumptions"][0] | {"text": ""} == {
        "code": "default",
        "pointer": "/line/flutter_mm",
        "value": 1.0,
        "values": {"value": 1.0},
        "source": "typical",
        "text": "",
    }


def test_query_and_body_ask_alike(api: FlaskClient, recommend: CountingRecommend) -> None:
    by_body, by_query = api.post(PATH, json=JOB), api.get(QUERY)
    assert by_body.data == by_query.data
    assert recommend.calls[0] == recommend.calls[1]


def test_every_kind_of_query_parameter(api: FlaskClient, recommend: CountingRecommend) -> None:
    response = api.get(
        f"{PATH}?material=nonwoven&grammage_gsm=4e1&plies=2&label=M%C3%BCller&air_permeability_mm_per_s=700"
        "&classes=ultrasonic-180k&classes=ultrasonic-120k&limit=3&catalogue=reference&language=de"
    )
    assert response.status_code == 200
    assert response.headers["Content-Language"] == "de"
    (job,) = recommend.calls
    sheet = job.sheets[0]
    assert (sheet.grammage_gsm, sheet.plies, sheet.label, sheet.air_permeability_mm_per_s) == (40.0, 2, "Müller", 700.0)
    assert (job.classes, job.limit) == (("ultrasonic-180k", "ultrasonic-120k"), 3)


def test_the_tag_is_strong_and_stable(api: FlaskClient) -> None:
    tags = [api.get(url).headers["ETag"] for url in (QUERY, QUERY, f"{PATH}?grammage_gsm=80.0&material=Kopierpapier")]
    assert len(set(tags)) == 1
    assert re.fullmatch(r'"[0-9a-f]{32}"', tags[0])
    assert api.get(f"{QUERY}.5").headers["ETag"] != tags[0]
    assert api.get(QUERY, headers={"Accept-Language": "de"}).headers["ETag"] != tags[0]


def test_a_known_answer_is_not_computed_again(api: FlaskClient, recommend: CountingRecommend) -> None:
    first = api.get(QUERY)
    again = api.get(QUERY, headers={"If-None-Match": f'"other", {first.headers["ETag"]}'})
    assert (again.status_code, again.data) == (304, b"")
    assert len(recommend.calls) == 1
    for name in ("ETag", "Cache-Control", "Vary"):
        assert again.headers[name] == first.headers[name]
    assert "Content-Type" not in again.headers
    assert first.headers["Cache-Control"] == "public, max-age=300"
    assert first.headers["Vary"] == "Origin, Accept-Language"


@pytest.mark.parametrize("tag", ["*", "W/{tag}"])
def test_weak_and_any_tags_match(api: FlaskClient, tag: str) -> None:
    sent = tag.format(tag=api.get(QUERY).headers["ETag"])
    assert api.get(QUERY, headers={"If-None-Match": sent}).status_code == 304


def test_a_stale_tag_is_computed(api: FlaskClient) -> None:
    assert api.get(QUERY, headers={"If-None-Match": '"0123"'}).status_code == 200


def test_head_tells_the_headers(api: FlaskClient) -> None:
    get, head = api.get(QUERY), api.head(QUERY)
    assert (head.status_code, head.data) == (200, b"")
    assert head.headers["ETag"] == get.headers["ETag"]
    assert head.headers["Content-Length"] == str(len(get.data))


@pytest.mark.parametrize("path", [PATH, "/v1/setup-sheets"])
def test_a_post_promises_no_tag_that_it_would_not_honour(real_api: FlaskClient, path: str) -> None:
    response = real_api.post(path, json=JOB, headers={"If-None-Match": real_api.get(QUERY).headers["ETag"]})
    assert response.status_code == 200
    assert "ETag" not in response.headers
    assert response.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        (None, "en"),
        ("de", "de"),
        ("de-AT,en;q=0.5", "de"),
        ("fr, de;q=0.7, en;q=0.3", "de"),
        ("fr", "en"),
        ("*", "en"),
        ("en;q=0.1, de;q=0.2", "de"),
        ("nonsense;;q=x", "en"),
    ],
)
def test_languages(api: FlaskClient, accepted: str | None, language: str) -> None:
    headers = {"Accept-Language": accepted} if accepted else {}
    response = api.post(PATH, json=JOB, headers=headers)
    assert response.headers["Content-Language"] == language
    expected = {"en": "not given; 1 mm assumed.", "de": "nicht angegeben; angenommen: 1 mm."}[language]
    assert response.get_json()["cautions"][0]["text"].endswith(expected)


def test_the_query_overrules_the_header(api: FlaskClient) -> None:
    response = api.get(f"{QUERY}&language=en", headers={"Accept-Language": "de"})
    assert response.headers["Content-Language"] == "en"


def numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for inner in value.values() for number in numbers(inner)]
    if isinstance(value, list):
        return [number for inner in value for number in numbers(inner)]
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else []


@pytest.mark.parametrize(
    "sheet", [FULL_JOB["sheets"][0], FULL_JOB["sheets"][2], {"material": "glass", "thickness_um": 3000}]
)
def test_a_real_answer_is_sound_in_both_languages(real_api: FlaskClient, sheet: dict[str, Any]) -> None:
    english = real_api.post(PATH, json={"sheets": [sheet]})
    german = real_api.post(PATH, json={"sheets": [sheet]}, headers={"Accept-Language": "de"})
    assert (english.status_code, german.status_code) == (200, 200)
    one, other = english.get_json(), german.get_json()
    assert numbers(one) == numbers(other)
    notes = [*one["cautions"], *one["assumptions"], *one["trial"], *[*one["ruled_out"], *one["alternatives"]]]
    for recommendation in one["recommendations"]:
        notes += [*recommendation["reasons"], *recommendation["not_served"]]
    assert notes
    for note in notes:
        assert note["code"] in texts()
        assert note["text"] != note["code"]


def test_the_same_question_gets_the_same_bytes(real_api: FlaskClient) -> None:
    assert real_api.get(QUERY).data == real_api.get(QUERY).data


def test_numbers_are_rounded_as_the_schema_says(real_api: FlaskClient) -> None:
    answer = json.loads(real_api.get(QUERY).data)
    schemas = real_api.get("/openapi.json").get_json()["components"]["schemas"]

    def check(value: Any, shape: dict[str, Any]) -> int:
        for choice in (shape, *shape.get("anyOf", ())):
            if "$ref" in choice and isinstance(value, dict):
                properties = schemas[choice["$ref"].rsplit("/", 1)[1]]["properties"]
                if value.get("type") not in properties.get("type", {}).get("enum", [value.get("type")]):
                    continue
                return sum(check(value[name], inner) for name, inner in properties.items() if name in value)
            if "items" in choice and isinstance(value, list):
                return sum(check(inner, choice["items"]) for inner in value)
        if "x-decimals" in shape and value is not None:
            assert value == round(value, shape["x-decimals"])
            return 1
        return 0

    assert check(answer, {"$ref": "#/components/schemas/Answer"}) > 20
