"""The published description: valid, committed, and what the service does."""

from __future__ import annotations

import ast
import dataclasses
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
import sheetmargin_service
from flask.testing import FlaskClient
from openapi_spec_validator import validate
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.fields import field_texts
from sheetmargin.contract.job import Job, SetupSheetQuestion
from sheetmargin.contract.library import Catalogues, DetectorClasses, Materials, Version
from sheetmargin.contract.measure import (
    Diagnosis,
    DiagnosisQuestion,
    Fit,
    FitQuestion,
    Prediction,
    PredictionQuestion,
)
from sheetmargin_service.api.examples import MODEL_VERSION
from sheetmargin_service.api.faults import fault_codes
from sheetmargin_service.api.routes import calls_of
from sheetmargin_service.api.schemas.derive import answer_schema, question_schema
from support.description import validator
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


def test_every_text_of_the_description_says_enough(document: dict[str, Any]) -> None:
    """Fields are held to more by the tests of the contract."""

    def texts(part: Any, *, place: str = "") -> Iterator[tuple[str, str]]:
        if isinstance(part, dict):
            for name, inner in part.items():
                if name in ("summary", "description") and isinstance(inner, str) and "/responses" not in place:
                    yield place, inner
                elif name not in ("examples", "default"):
                    yield from texts(inner, place="/headers" if name == "headers" else f"{place}/{name}")
        elif isinstance(part, list):
            for inner in part:
                yield from texts(inner, place=place)

    told = list(texts(document))
    assert len(told) > 1000
    assert [each for each in told if len(each[1].split()) < 5 and each[1] != "Needs no key."] == []


def test_keys_are_described(document: dict[str, Any], real_api: FlaskClient) -> None:
    scheme = document["components"]["securitySchemes"]["bearerAuth"]
    assert (scheme["type"], scheme["scheme"]) == ("http", "bearer")
    scopes = {name.rsplit(".", 1)[1]: call.scope for name, call in calls_of(real_api.application).items()}
    for _, _, call in operations(document):
        scope = scopes[call["operationId"]]
        publishable = [{"publishableKey": []}] if scope == "recommend" else []
        assert call["security"] == ([] if scope == "open" else [{"bearerAuth": []}, *publishable, {}])
        assert (f"`{scope}`" if scope != "open" else "no key") in call["description"]
        assert ({"401", "403"} <= set(call["responses"])) == (scope != "open")


def test_what_succeeds_is_told_first_and_every_failure_too(document: dict[str, Any]) -> None:
    """Some generated clients go by the first of the responses."""
    for path, method, call in operations(document):
        told = list(call["responses"])
        assert told[0] == "200", path
        assert {"406", "422", "429", "500", "503"} <= set(told), path
        assert ("400" in told) == (method == "post"), path
        for status in ("429", "503"):
            assert "Retry-After" in call["responses"][status]["headers"]
    assert "ETag" not in document["paths"]["/v1/recommendations"]["post"]["responses"]["200"]["headers"]


def test_codes_are_listed_and_later_ones_are_not_shut_out(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    for part, name in (("Fault", "FaultCode"), ("Reason", "NoteCode"), ("RuledOut", "NoteCode")):
        assert len(schemas[name]["x-extensible-enum"]) > 40
        assert schemas[part]["properties"]["code"]["$ref"] == f"#/components/schemas/{name}"
    fault = validator("Fault", document)
    told = [fault.is_valid({"code": code, "detail": ""}) for code in ("rate", "of-a-later-service", 1)]
    assert told == [True, True, False]


def test_every_code_of_a_fault_is_documented() -> None:
    """Those that the program names; they may also be codes of answers, of what rules a class out."""
    calls = [
        call
        for file in Path(sheetmargin_service.__file__).parent.rglob("*.py")
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call) and ast.unparse(call.func) in ("Fault", "QuestionError", "_at", "self.refuse")
    ]
    told = [word.value for call in calls for word in call.keywords if word.arg == "code"]
    told += [call.args[0] for call in calls if call.args and ast.unparse(call.func) == "self.refuse"]
    codes = {
        word.value
        for code in told
        for word in ast.walk(code)
        if isinstance(word, ast.Constant) and isinstance(word.value, str)
    }
    assert len(codes) > 40
    assert codes - {"unknown-"} <= set(fault_codes())


def test_bounds_are_published_as_they_are_enforced(document: dict[str, Any]) -> None:
    line = document["components"]["schemas"]["LineInput"]["properties"]["speed_m_per_min"]
    assert line["exclusiveMinimum"] == 0
    assert "minimum" not in line
    humidity = document["components"]["schemas"]["EnvironmentInput"]["properties"]["relative_humidity_min_pct"]
    assert (humidity["minimum"], humidity["maximum"]) == (0, 100)
    sheets = document["components"]["schemas"]["JobInput"]["properties"]["sheets"]
    assert (sheets["minItems"], sheets["maxItems"]) == (1, 50)


def test_requests_refuse_and_answers_forgive_unknown_names(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    assert {"JobInput", "SheetInput", "LayerInput", "Answer", "Job", "Sheet"} <= schemas.keys()
    for name, schema in schemas.items():
        assert schema["description"], name
        if schema["type"] == "object":
            assert schema["additionalProperties"] is not name.endswith("Input"), name


def test_every_field_has_a_text_and_every_number_of_an_answer_its_places() -> None:
    """What the description publishes comes from the contract; a field that tells too little is found here."""
    for kind in (Job, PredictionQuestion, FitQuestion, DiagnosisQuestion, SetupSheetQuestion):
        question_schema(kind)()
    for kind in (Answer, Prediction, Fit, Diagnosis, Materials, DetectorClasses, Catalogues, Version):
        for part in parts_of(kind):
            texts, hints = field_texts(part), get_type_hints(part)
            assert texts.keys() == hints.keys(), part
            if part.__module__ in ("sheetmargin.contract.job", "sheetmargin.contract.trials"):  # as it was asked
                continue
            for field in dataclasses.fields(part):
                if "float" in str(hints[field.name]):
                    assert {"decimals", "digits"} & field.metadata.keys(), (part, field.name)


def parts_of(kind: type[Any]) -> set[type[Any]]:
    """A dataclass and those within it."""
    found, waiting = set(), [kind]
    while waiting:
        hint = waiting.pop()
        if dataclasses.is_dataclass(hint) and hint not in found:
            found.add(hint)
            waiting += get_type_hints(hint).values()
        waiting += get_args(hint)
    return found


def test_inputs_may_be_null_where_they_need_not_be_given(document: dict[str, Any]) -> None:
    line = document["components"]["schemas"]["LineInput"]["properties"]
    assert line["speed_m_per_min"]["type"] == ["number", "null"]
    assert None in line["feeding"]["enum"]
    assert document["components"]["schemas"]["WallInput"]["properties"]["medium_gsm"]["type"] == "number"


def test_the_full_job_is_valid_by_its_schema(document: dict[str, Any]) -> None:
    validator("JobInput", document).validate(FULL_JOB)


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
    answer_schema(Answer)().load(response.get_json())


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/v1/materials", "Materials"),
        ("/v1/detector-classes", "DetectorClasses"),
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
    validator("JobInput", document).validate(asked)
    validator("Answer", document).validate(answered)
    assert real_api.post("/v1/recommendations", json=asked).get_json() | versions == answered
    wrong = post["responses"]["422"]["content"]["application/problem+json"]["example"]
    validator("Problem", document).validate(wrong)
    assert wrong["errors"][0]["suggestions"][0] == "copy-paper"
    get = document["paths"]["/v1/recommendations"]["get"]
    query = {p["name"]: p["example"] for p in get["parameters"] if "example" in p}
    answered = get["responses"]["200"]["content"]["application/json"]["example"]
    assert real_api.get("/v1/recommendations", query_string=query).get_json() | versions == answered
