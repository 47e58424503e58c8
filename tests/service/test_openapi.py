"""The published description: valid, committed, and what the service does."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterator
from typing import Any, get_args, get_type_hints

import pytest
from flask.testing import FlaskClient
from marshmallow import Schema
from openapi_spec_validator import validate
from sheetmargin_service.api.examples import MODEL_VERSION
from sheetmargin_service.api.routes import calls_of
from sheetmargin_service.api.schemas import answer as answer_schemas
from sheetmargin_service.api.schemas.job import JobSchema
from sheetmargin_service.api.schemas.strict import StrictSchema
from sheetmargin_service.selection.answer import Answer
from support.description import COMMITTED, validator
from support.jobs import FULL_JOB

METHODS = ("get", "post")


@pytest.fixture(scope="module")
def document(real_api: FlaskClient) -> dict[str, Any]:
    published: dict[str, Any] = real_api.get("/openapi.json").get_json()
    return published


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                yield path, method, item[method]


def test_the_description_is_valid(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1.")
    validate(document)


def test_the_committed_description_is_the_current_one(document: dict[str, Any]) -> None:
    assert json.loads(COMMITTED.read_text(encoding="utf-8")) == document, "run `python .ci/generate.py`"


def test_every_call_is_described(document: dict[str, Any], real_api: FlaskClient) -> None:
    described = {(path, method.upper()) for path, method, _ in operations(document)}
    served = {
        (re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", str(rule)), method)
        for rule in real_api.application.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    assert described == served


def test_every_call_has_a_name_and_words(document: dict[str, Any]) -> None:
    names = [call["operationId"] for _, _, call in operations(document)]
    assert len(names) == len(set(names))
    assert all(call["summary"] for _, _, call in operations(document))


def test_keys_are_described(document: dict[str, Any], real_api: FlaskClient) -> None:
    scheme = document["components"]["securitySchemes"]["bearerAuth"]
    assert (scheme["type"], scheme["scheme"]) == ("http", "bearer")
    scopes = {name.rsplit(".", 1)[1]: call.scope for name, call in calls_of(real_api.application).items()}
    for _, _, call in operations(document):
        scope = scopes[call["operationId"]]
        publishable = [{"publishableKey": []}] if scope == "recommend" else []
        expected = None if scope == "open" else [{"bearerAuth": [scope]}, *publishable, {}]
        assert call.get("security") == expected
        assert ({"401", "403"} <= set(call["responses"])) == (scope != "open")


def test_bounds_are_published_as_they_are_enforced(document: dict[str, Any]) -> None:
    line = document["components"]["schemas"]["Line"]["properties"]["speed_m_per_min"]
    assert line["exclusiveMinimum"] == 0
    assert "minimum" not in line
    humidity = document["components"]["schemas"]["Environment"]["properties"]["relative_humidity_min_pct"]
    assert (humidity["minimum"], humidity["maximum"]) == (0, 100)
    sheets = document["components"]["schemas"]["Job"]["properties"]["sheets"]
    assert (sheets["minItems"], sheets["maxItems"]) == (1, 50)


def schemas_of(kind: type[Schema]) -> Iterator[Schema]:
    """A schema and those within it."""
    schema = kind()
    yield schema
    for field in schema.fields.values():
        inner = getattr(field, "inner", field)
        if hasattr(inner, "nested"):
            yield from schemas_of(inner.nested)


def kinds_of(kind: type[Any]) -> Iterator[type[Any]]:
    """A class and all that descend from it."""
    yield kind
    for inner in kind.__subclasses__():
        yield from kinds_of(inner)


def test_requests_refuse_and_answers_forgive_unknown_names(document: dict[str, Any]) -> None:
    refusing = {kind.__name__.removesuffix("Schema") for kind in kinds_of(StrictSchema)}
    assert {"Job", "Sheet", "Layer"} <= refusing
    for name, schema in document["components"]["schemas"].items():
        if name in refusing:
            assert schema["additionalProperties"] is False
            assert schema["description"]
        else:
            assert "additionalProperties" not in schema


def test_requests_take_what_the_service_works_with() -> None:
    for schema in schemas_of(JobSchema):
        assert isinstance(schema, StrictSchema)
        assert set(schema.fields) == {field.name for field in dataclasses.fields(schema.makes)}


def test_answers_tell_all_that_the_service_found() -> None:
    def compare(schema: Schema, kind: Any) -> int:
        attributes = {field.attribute or name: field for name, field in schema.fields.items()}
        hints = get_type_hints(kind)
        # A note's value and pointer stand in assumptions alone, its source there and in reasons.
        optional = {"text", "pointer", "value", "source"}
        assert set(hints) - optional == set(attributes) - optional, kind
        compared = 1
        for name, field in attributes.items():
            inner = getattr(field, "inner", field)
            if hasattr(inner, "nested"):
                parts = [hints[name], *get_args(hints[name])]
                compared += compare(inner.nested(), next(part for part in parts if dataclasses.is_dataclass(part)))
        return compared

    assert compare(answer_schemas.AnswerSchema(), Answer) > 20


def test_the_full_job_is_valid_by_its_schema(document: dict[str, Any]) -> None:
    validator("Job", document).validate(FULL_JOB)


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_filled_answer_is_valid_by_its_schema(api: FlaskClient, document: dict[str, Any], language: str) -> None:
    answer = api.post("/v1/recommendations", json=FULL_JOB, headers={"Accept-Language": language}).get_json()
    validator("Answer", document).validate(answer)


@pytest.mark.parametrize("sheet", FULL_JOB["sheets"], ids=lambda sheet: sheet.get("material") or next(iter(sheet)))
def test_a_real_answer_is_valid_by_its_schema(
    real_api: FlaskClient, document: dict[str, Any], sheet: dict[str, Any]
) -> None:
    response = real_api.post("/v1/recommendations", json={"sheets": [sheet]})
    assert response.status_code == 200, response.get_json()
    validator("Answer", document).validate(response.get_json())


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/v1/materials", "Materials"),
        ("/v1/detector-classes", "Classes"),
        ("/v1/catalogues", "Catalogues"),
        ("/v1/version", "Version"),
        ("/livez", "Status"),
        ("/nowhere", "Problem"),
        ("/v1/recommendations?grammage_gsm=x", "Problem"),
    ],
)
def test_other_answers_are_valid_by_their_schemas(
    api: FlaskClient, document: dict[str, Any], path: str, name: str
) -> None:
    validator(name, document).validate(api.get(path).get_json())


def test_examples_are_valid_and_computed(real_api: FlaskClient, document: dict[str, Any]) -> None:
    post = document["paths"]["/v1/recommendations"]["post"]
    asked = post["requestBody"]["content"]["application/json"]["example"]
    answered = post["responses"]["200"]["content"]["application/json"]["example"]
    versions = {"model_version": MODEL_VERSION}
    validator("Job", document).validate(asked)
    validator("Answer", document).validate(answered)
    assert real_api.post("/v1/recommendations", json=asked).get_json() | versions == answered
    wrong = post["responses"]["422"]["content"]["application/problem+json"]["example"]
    validator("Problem", document).validate(wrong)
    assert wrong["errors"][0]["suggestions"][0] == "copy-paper"
    get = document["paths"]["/v1/recommendations"]["get"]
    query = {p["name"]: p["example"] for p in get["parameters"] if "example" in p}
    answered = get["responses"]["200"]["content"]["application/json"]["example"]
    assert real_api.get("/v1/recommendations", query_string=query).get_json() | versions == answered
