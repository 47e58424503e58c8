"""Every way to ask wrongly gets a problem that says where; none reaches the physics, none is the service's failure."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

import pytest
from flask.testing import FlaskClient
from support.answers import CountingRecommend
from support.jobs import FULL_JOB
from werkzeug.test import TestResponse

PATH = "/v1/recommendations"
SHEET = {"material": "copy-paper", "grammage_gsm": 80}
Place = tuple[str | int, ...]


def post(api: FlaskClient, body: Any, **headers: str) -> TestResponse:
    data = body if isinstance(body, bytes) else json.dumps(body)
    return api.post(PATH, data=data, headers={"Content-Type": "application/json", **headers})


def problem_of(response: TestResponse, status: int) -> dict[str, Any]:
    document: dict[str, Any] = response.get_json()
    assert (response.status_code, response.content_type) == (status, "application/problem+json"), document
    assert document["status"] == status
    assert document["request_id"] == response.headers["X-Request-Id"]
    assert response.headers["Cache-Control"] == "no-store"
    return document


def pointer(place: Place) -> str:
    return "".join(f"/{part}" for part in place)


def leaves(value: Any, place: Place = ()) -> Iterator[Place]:
    """The place of every value in a job, containers included."""
    if place:
        yield place
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for name, inner in items:
        yield from leaves(inner, (*place, name))


def replaced(place: Place, value: Any) -> dict[str, Any]:
    job = deepcopy(FULL_JOB)
    owner: Any = job
    for part in place[:-1]:
        owner = owner[part]
    owner[place[-1]] = value
    return job


def value_at(place: Place) -> Any:
    value: Any = FULL_JOB
    for part in place:
        value = value[part]
    return value


FREE_TEXTS = {"detector_class", "date", "reference", "label", "material", "construction", "catalogue", "like"}
WHOLE = {"plies", "lanes", "limit", "effort_max"}
NEEDED = {
    "sheets",
    "liners_gsm",
    "walls",
    "flute",
    "medium_gsm",
    "density_kg_m3",
    "p5",
    "p50",
    "p95",
    "system",
    "number",
}
"""Fields that have to be given where their object is; a layer needs its material, too."""


def wrong_values(place: Place) -> Iterator[tuple[str, Any, str]]:
    """What no field like this one takes: a name for it, the value, and the code expected."""
    right = value_at(place)
    if place[-1] in NEEDED or isinstance(place[-1], int):
        yield "null", None, "null"
    if isinstance(right, bool):
        yield from (("text", "true", "wrong-type"), ("number", 1, "wrong-type"), ("list", [True], "wrong-type"))
    elif isinstance(right, int | float):
        yield from (("text", str(right), "wrong-type"), ("flag", True, "wrong-type"), ("list", [right], "wrong-type"))
        yield from (("object", {"value": right}, "wrong-type"), ("empty-text", "", "wrong-type"))
        yield from (("negative", -1e6, "out-of-range"), ("absurd", 1e9, "out-of-range"))
        yield "overflow", float("inf"), "not-finite"
        if place[-1] in WHOLE:
            yield "fraction", 1.5, "not-whole"
            yield "zero", 0, "out-of-range"
    elif isinstance(right, str):
        yield from (("number", 5, "wrong-type"), ("flag", True, "wrong-type"), ("list", [right], "wrong-type"))
        free = place[-1] in FREE_TEXTS or isinstance(place[-1], int)
        wrong = "wrong-length" if free else "unknown-value"
        yield from (("empty", "", wrong), ("endless", "x" * 5000, wrong))
        yield "control", f"{right}\x00", "not-printable" if free else "unknown-value"
    elif isinstance(right, list):
        yield from (("number", 5, "wrong-type"), ("text", "x", "wrong-type"), ("object", {}, "wrong-type"))
        yield "endless", right[:1] * 1001, "wrong-length"
    else:
        yield from (("number", 5, "wrong-type"), ("text", "x", "wrong-type"), ("list", [], "wrong-type"))
        yield "stray", {**right, "colour": "red"}, "unknown-field"


WRONG = [
    pytest.param(place, value, code, id=f"{pointer(place)}-{name}")
    for place in leaves(FULL_JOB)
    for name, value, code in wrong_values(place)
]


def test_the_full_job_is_right(api: FlaskClient, recommend: CountingRecommend) -> None:
    response = post(api, FULL_JOB)
    assert response.status_code == 200, response.get_json()
    assert len(recommend.calls) == 1


def test_the_full_job_gives_every_field_of_the_contract(api: FlaskClient) -> None:
    schemas = api.get("/openapi.json").get_json()["components"]["schemas"]

    def published(name: str, place: Place = ()) -> Iterator[Place]:
        for field, shape in schemas[name]["properties"].items():
            yield (*place, field)
            target = shape.get("$ref") or shape.get("items", {}).get("$ref")
            if target:
                yield from published(target.rsplit("/", 1)[1], (*place, field))

    given = {tuple(part for part in place if isinstance(part, str)) for place in leaves(FULL_JOB)}
    # Custom materials stand in layers as well as in sheets; one of the two gives each field.
    merged = {tuple(part for part in place if part != "layers") for place in given} | given
    missing = {p for p in published("JobInput") if p not in merged and p[:3] != ("sheets", "layers", "custom")}
    # An article of the owner's stock stands in the place of what is given here.
    assert missing == {("sheets", "article"), ("stock",)}


OF_STREAM = ("shingle_pitch_mm", "sheet_length_mm")
"""Needed by the stream of that job."""
OPTIONAL = [place for place in leaves(FULL_JOB) if len(place) == 2 and isinstance(place[1], str)]


@pytest.mark.parametrize("place", [place for place in OPTIONAL if place[1] not in OF_STREAM], ids=pointer)
def test_null_says_that_it_is_not_given(api: FlaskClient, recommend: CountingRecommend, place: Place) -> None:
    job = replaced(place, None)
    assert post(api, job).status_code == 200
    del job[place[0]][place[1]]
    assert post(api, job).status_code == 200
    given_null, left_out = recommend.calls
    assert given_null == left_out


@pytest.mark.parametrize(("place", "value", "code"), WRONG)
def test_wrong_values(api: FlaskClient, recommend: CountingRecommend, place: Place, value: Any, code: str) -> None:
    body = json.dumps(replaced(place, value)).replace("Infinity", "1e999").encode()
    document = problem_of(post(api, body), 422)
    assert document["type"] == "/docs/problems/invalid-values"
    where = pointer((*place, "colour") if code == "unknown-field" else place)
    errors = {error["pointer"]: error for error in document["errors"]}
    assert where in errors, document
    assert errors[where]["code"] == code
    assert errors[where]["expected"]
    assert not recommend.calls


# A name, the sheet, then of the first error: code, place in the sheet, part of what was expected or suggested.
SHEETS = [
    ("unknown-material", {"material": "copy-papr", "grammage_gsm": 80}, "unknown-material", "material", "copy-paper"),
    ("german-misspelt", {"material": "Kopierpapir", "grammage_gsm": 80}, "unknown-material", "material", "copy-paper"),
    ("no-material", {"grammage_gsm": 80}, "missing-field", "material", "layers"),
    ("no-size", {"material": "copy-paper"}, "missing-field", "grammage_gsm", "thickness"),
    ("two-masses", {**SHEET, "basis_weight_lb": 20, "basis": "bond"}, "conflicting-fields", "grammage_gsm", ""),
    ("two-thicknesses", {"material": "pet", "thickness_um": 50, "caliper_pt": 2}, "conflicting-fields", "thickness_um",
     ""),
    ("impossible-density", {**SHEET, "thickness_um": 5}, "contradiction", "grammage_gsm", ""),
    ("ten-metres", {"material": "pet", "thickness_um": 1e7}, "out-of-range", "thickness_um", "20000"),
    ("no-basis", {"material": "copy-paper", "basis_weight_lb": 20}, "missing-field", "basis", "bond"),
    ("basis-alone", {**SHEET, "basis": "bond"}, "missing-field", "basis_weight_lb", ""),
    ("material-and-layers", {**SHEET, "layers": [SHEET]}, "conflicting-fields", "material", ""),
    ("no-layers", {"layers": []}, "empty-list", "layers", "1 to 30"),
    ("31-layers", {"layers": [SHEET] * 31}, "wrong-length", "layers", "1 to 30"),
    ("layer-zero", {"layers": [{"material": "pet", "thickness_um": 0}]}, "out-of-range", "layers/0/thickness_um", ""),
    ("layer-unknown", {"layers": [SHEET, {"material": "nix", "thickness_um": 9}]}, "unknown-material",
     "layers/1/material", ""),
    ("liners", {"corrugated": {"liners_gsm": [125, 125, 125], "walls": [{"flute": "B", "medium_gsm": 112}]}},
     "contradiction", "corrugated/liners_gsm", "2"),
    ("custom-without", {"material": "custom", "thickness_um": 100}, "missing-field", "custom", ""),
    ("custom-empty", {"material": "custom", "thickness_um": 9, "custom": {"density_kg_m3": 900}}, "missing-field",
     "custom/youngs_modulus_gpa", "poisson"),
    ("custom-elsewhere", {**SHEET, "custom": {"density_kg_m3": 900}}, "conflicting-fields", "custom", ""),
    ("trapped-air-falls", {"material": "custom", "thickness_um": 9, "custom": {"density_kg_m3": 900,
     "youngs_modulus_gpa": 3, "poisson_ratio": 0.3, "trapped_air_um": {"p5": 9, "p50": 5, "p95": 60}}}, "contradiction",
     "custom/trapped_air_um/p50", "p5"),
    ("unstable", {"material": "custom", "thickness_um": 9, "custom": {"density_kg_m3": 900, "c11_gpa": 1, "c13_gpa": 2,
     "c33_gpa": 1, "c55_gpa": 1}}, "unphysical", "custom/c13_gpa", "c13"),
    ("permeance-zero", {**SHEET, "air_permeance_um_per_pa_s": 0}, "out-of-range", "air_permeance_um_per_pa_s", ""),
    ("two-permeances", {**SHEET, "air_permeance_um_per_pa_s": 10, "gurley_s_per_100ml": 20}, "conflicting-fields",
     "air_permeance_um_per_pa_s", ""),
    ("plies-zero", {**SHEET, "plies": 0}, "out-of-range", "plies", "at least 1"),
    ("plies-1000", {**SHEET, "plies": 1000}, "out-of-range", "plies", "at most 100"),
    ("gauge-of-paper", {"material": "copy-paper", "sheet_gauge": {"system": "steel", "number": 20}}, "not-applicable",
     "sheet_gauge/system", "a thickness"),
    ("unknown-construction", {"construction": "label-papr"}, "unknown-construction", "construction", "label-paper"),
    ("far-construction", {"construction": "envelope"}, "unknown-construction", "construction", "corrugated-b"),
    ("stray", {**SHEET, "gramage_gsm": 80}, "unknown-field", "gramage_gsm", "grammage_gsm"),
    ("stray-schema", {**SHEET, "_schema": 1}, "unknown-field", "_schema", "material"),
    ("stray-slash", {**SHEET, "a/b~c": 1}, "unknown-field", "a~1b~0c", "material"),
]  # fmt: skip


@pytest.mark.parametrize(("sheet", "code", "field", "told"), [pytest.param(*s[1:], id=s[0]) for s in SHEETS])
def test_wrong_sheets(
    api: FlaskClient, recommend: CountingRecommend, sheet: dict[str, Any], code: str, field: str, told: str
) -> None:
    document = problem_of(post(api, {"sheets": [SHEET, sheet]}), 422)
    error = document["errors"][0]
    assert (error["code"], error["pointer"]) == (code, f"/sheets/1/{field}"), document
    assert told in error["expected"] + " " + " ".join(error.get("suggestions", []))
    assert not recommend.calls


# A name, what is added to a right job, then code, pointer, and part of what was expected or suggested.
JOBS = [
    ("no-sheets", {"sheets": []}, "empty-list", "/sheets", "1 to 50"),
    ("51-sheets", {"sheets": [SHEET] * 51}, "wrong-length", "/sheets", "1 to 50"),
    ("301-layers", {"sheets": [{"layers": [SHEET] * 7}] * 43}, "too-many-layers", "/sheets", "300"),
    ("sheet-not-object", {"sheets": ["copy-paper"]}, "wrong-type", "/sheets/0", "an object"),
    ("stray", {"sheeets": []}, "unknown-field", "/sheeets", "sheets"),
    ("temperatures", {"environment": {"temperature_min_c": 30, "temperature_max_c": 10}}, "contradiction",
     "/environment/temperature_min_c", "temperature_max_c"),
    ("humidities", {"environment": {"relative_humidity_min_pct": 60, "relative_humidity_max_pct": 50}}, "contradiction",
     "/environment/relative_humidity_min_pct", ""),
    ("beside-the-sheet", {"line": {"edge_distance_mm": 400, "sheet_width_mm": 300}}, "contradiction",
     "/line/edge_distance_mm", ""),
    ("no-speed", {"line": {"speed_m_per_min": 0}}, "out-of-range", "/line/speed_m_per_min", "above 0"),
    ("target-zero", {"targets": {"double_as_single": 0}}, "out-of-range", "/targets/double_as_single", "above 0"),
    ("unknown-class", {"classes": ["ultrasonic-180k", "ultrasonic-181k"]}, "unknown-class", "/classes/1", "180k"),
    ("unknown-catalogue", {"catalogue": "referense"}, "unknown-catalogue", "/catalogue", "reference"),
    ("unknown-principle", {"principles": ["ultrasound"]}, "unknown-principle", "/principles/0", "ultrasonic"),
    ("unknown-housing", {"require": {"housing": ["M19"]}}, "unknown-housing", "/require/housing/0", "M18"),
    ("unknown-output", {"require": {"output": ["relais"]}}, "unknown-output", "/require/output/0", "pnp"),
]  # fmt: skip


@pytest.mark.parametrize(("added", "code", "where", "told"), [pytest.param(*j[1:], id=j[0]) for j in JOBS])
def test_wrong_jobs(
    api: FlaskClient, recommend: CountingRecommend, added: dict[str, Any], code: str, where: str, told: str
) -> None:
    document = problem_of(post(api, {"sheets": [SHEET], **added}), 422)
    error = document["errors"][0]
    assert (error["code"], error["pointer"]) == (code, where), document
    assert told in error["expected"] + " " + " ".join(error.get("suggestions", []))
    assert not recommend.calls


def test_a_contradiction_names_both_fields(api: FlaskClient) -> None:
    document = problem_of(post(api, {"sheets": [{**SHEET, "thickness_um": 5}]}), 422)
    assert {error["pointer"] for error in document["errors"]} == {"/sheets/0/grammage_gsm", "/sheets/0/thickness_um"}


def test_faults_of_several_sheets_come_together(api: FlaskClient) -> None:
    document = problem_of(
        post(api, {"sheets": [{"material": "nix", "grammage_gsm": 80}, SHEET, {"grammage_gsm": 9}]}), 422
    )
    assert [error["pointer"] for error in document["errors"]] == ["/sheets/0/material", "/sheets/2/material"]
    assert document["detail"] == "2 entries need correction."


# A name, the bytes, status, code, and what says where.
TEXTS = [
    ("empty", b"", 400, "empty-body", {}),
    ("space", b" \n ", 400, "empty-body", {}),
    ("cut", b'{"sheets": [', 400, "json-syntax", {"line": 1, "column": 13}),
    ("comma", b'{\n "sheets": [],\n}', 400, "json-syntax", {"line": 3, "column": 1}),
    ("quotes", b"{'sheets': []}", 400, "json-syntax", {"line": 1, "column": 2}),
    ("two", b"{} {}", 400, "json-syntax", {"line": 1, "column": 4}),
    ("nan", b'{"limit":\n NaN}', 400, "json-syntax", {"line": 2, "column": 2}),
    ("infinity", b'{"a": "NaN \\" NaN", "limit": -Infinity}', 400, "json-syntax", {"line": 1, "column": 30}),
    ("latin-1", '{"reference": "Müller"}'.encode("latin-1"), 400, "not-utf-8", {"line": 1, "column": 17}),
    ("utf-16", '{"limit": 5}'.encode("utf-16"), 400, "not-utf-8", {"line": 1, "column": 1}),
    ("bom-within", b'{"limit": \xef\xbb\xbf5}', 400, "json-syntax", {"line": 1, "column": 11}),
    ("raw-newline", b'{"reference": "a\nb"}', 400, "json-syntax", {"line": 1, "column": 17}),
    ("twice", b'{"limit": 5, "limit": 6}', 400, "duplicate-key", {"pointer": "/limit"}),
    ("twice-inside", b'{"sheets": [{"plies": 1, "plies": 1}]}', 400, "duplicate-key", {"pointer": "/sheets/0/plies"}),
    ("nested", b"[" * 500_000, 400, "nesting", {"line": 1, "column": 33}),
    ("nested-objects", b'{"a":' * 100_000, 400, "nesting", {"line": 1, "column": 161}),
    ("nested-closed", b"[" * 40 + b"]" * 40, 400, "nesting", {"line": 1, "column": 33}),
    ("half-pair", b'{"reference": "\\ud800"}', 400, "not-unicode", {"pointer": "/reference"}),
    ("half-pair-name", b'{"\\ud800": {"a": "\\ud800"}}', 400, "not-unicode", {"pointer": ""}),
    ("list", b"[]", 422, "wrong-type", {"pointer": ""}),
    ("null", b"null", 422, "wrong-type", {"pointer": ""}),
    ("number", b"5", 422, "wrong-type", {"pointer": ""}),
    ("endless-integer", b'{"limit": ' + b"9" * 100_000 + b"}", 422, "not-finite", {"pointer": "/limit"}),
    ("exponent", b'{"limit": 1e999999999}', 422, "not-finite", {"pointer": "/limit"}),
    ("no-sheets", b"{}", 422, "missing-field", {"pointer": "/sheets"}),
]


@pytest.mark.parametrize(("body", "status", "code", "where"), [pytest.param(*t[1:], id=t[0]) for t in TEXTS])
def test_wrong_texts(
    api: FlaskClient, recommend: CountingRecommend, body: bytes, status: int, code: str, where: dict[str, Any]
) -> None:
    document = problem_of(post(api, body), status)
    error = next(e for e in document["errors"] if e["code"] == code)
    assert {name: error[name] for name in where} == where, document
    assert error["expected"]
    assert not recommend.calls


def test_a_byte_order_mark_is_passed_over(api: FlaskClient, recommend: CountingRecommend) -> None:
    response = post(api, b'\xef\xbb\xbf{"sheets": [{"material": "pet", "thickness_um": 50}]}')
    assert response.status_code == 200, response.get_json()
    assert len(recommend.calls) == 1


@pytest.mark.parametrize(
    "hostile", [b'"' * 900_000, b'"' + b'\\"' * 450_000, b"[],".join([b""] * 300_000), b"{" * 900_000]
)
def test_hostile_texts_take_bounded_time(api: FlaskClient, hostile: bytes) -> None:
    begin = time.perf_counter()
    problem_of(post(api, hostile), 400)
    # Linear work on 1 MB takes well below a second; anything quadratic would take hours.
    assert time.perf_counter() - begin < 5


def test_a_flood_of_unknown_names_is_cut(api: FlaskClient) -> None:
    document = problem_of(post(api, {f"name{i}": 1 for i in range(50_000)}), 422)
    assert 10 < len(document["errors"]) <= 100


def test_a_large_body(api: FlaskClient) -> None:
    document = problem_of(post(api, b" " * 5_000_000 + b"{}"), 413)
    assert "1048576" in document["errors"][0]["expected"]


def chunked(api: FlaskClient, body: bytes) -> TestResponse:
    """Post a body whose length is not stated beforehand, as a server hands over a chunked request."""
    stream = {"wsgi.input": io.BytesIO(body), "wsgi.input_terminated": True}
    return api.post(PATH, content_type="application/json", environ_overrides=stream)


def test_a_chunked_body(api: FlaskClient) -> None:
    assert chunked(api, json.dumps({"sheets": [SHEET]}).encode()).status_code == 200


def test_a_large_chunked_body_is_refused_and_not_cut(api: FlaskClient, recommend: CountingRecommend) -> None:
    problem_of(chunked(api, json.dumps({"sheets": [SHEET]}).encode() + b" " * 5_000_000 + b"x"), 413)
    assert not recommend.calls


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "application/xml", "", "application/ld+json"]
)
def test_other_media_types(api: FlaskClient, kind: str) -> None:
    document = problem_of(post(api, {"sheets": [SHEET]}, **{"Content-Type": kind}), 415)
    assert document["errors"][0]["header"] == "Content-Type"


def test_a_compressed_body(api: FlaskClient) -> None:
    document = problem_of(post(api, {"sheets": [SHEET]}, **{"Content-Encoding": "gzip"}), 415)
    assert document["errors"][0]["header"] == "Content-Encoding"


# A name, the query, then code, parameter, and part of what was expected or suggested.
QUERIES = [
    ("none", "", "missing-field", "material", "layers"),
    ("no-size", "material=copy-paper", "missing-field", "grammage_gsm", ""),
    ("word", "material=copy-paper&grammage_gsm=heavy", "wrong-type", "grammage_gsm", "a number"),
    ("nan", "material=copy-paper&grammage_gsm=nan", "wrong-type", "grammage_gsm", "a number"),
    ("underscore", "material=copy-paper&grammage_gsm=8_0", "wrong-type", "grammage_gsm", "a number"),
    ("comma", "material=copy-paper&grammage_gsm=80,5", "wrong-type", "grammage_gsm", "a number"),
    ("space", "material=copy-paper&grammage_gsm=%2080", "wrong-type", "grammage_gsm", "a number"),
    ("arabic-digits", "material=copy-paper&grammage_gsm=%D9%A8%D9%A0", "wrong-type", "grammage_gsm", "a number"),
    ("overflow", "material=copy-paper&grammage_gsm=1e999", "not-finite", "grammage_gsm", "a number"),
    ("negative", "material=copy-paper&grammage_gsm=-80", "out-of-range", "grammage_gsm", "at least"),
    ("fraction", "material=copy-paper&grammage_gsm=80&plies=1.5", "not-whole", "plies", "whole"),
    ("twice", "material=copy-paper&grammage_gsm=80&grammage_gsm=90", "repeated", "grammage_gsm", "one value"),
    ("unknown", "material=copy-paper&gramage_gsm=80", "unknown-field", "gramage_gsm", "grammage_gsm"),
    ("nested", "material=copy-paper&grammage_gsm=80&sheets=x", "unknown-field", "sheets", ""),
    ("empty", "material=&grammage_gsm=80", "wrong-length", "material", "1 to 80"),
    ("misspelt", "material=copy-papr&grammage_gsm=80", "unknown-material", "material", "copy-paper"),
    ("class", "material=copy-paper&grammage_gsm=80&classes=ultrasonic-180k&classes=x", "unknown-class", "classes", ""),
    ("catalogue", "material=copy-paper&grammage_gsm=80&catalogue=x", "unknown-catalogue", "catalogue", "reference"),
    ("language", "material=copy-paper&grammage_gsm=80&language=fr", "unknown-value", "language", "en"),
    ("limit", "material=copy-paper&grammage_gsm=80&limit=0", "out-of-range", "limit", "at least 1"),
]


@pytest.mark.parametrize(("query", "code", "parameter", "told"), [pytest.param(*q[1:], id=q[0]) for q in QUERIES])
def test_wrong_queries(
    api: FlaskClient, recommend: CountingRecommend, query: str, code: str, parameter: str, told: str
) -> None:
    document = problem_of(api.get(f"{PATH}?{query}", headers={"If-None-Match": "*"}), 422)
    error = next(e for e in document["errors"] if e["code"] == code)
    assert error["parameter"] == parameter, document
    assert told in error["expected"] + " " + " ".join(error.get("suggestions", []))
    assert not recommend.calls


@pytest.mark.parametrize("path", ["/livez", "/readyz", "/v1/version", "/v1/catalogues", "/docs", "/openapi.json"])
def test_calls_without_parameters_refuse_them(api: FlaskClient, path: str) -> None:
    document = problem_of(api.get(f"{path}?x=1"), 422)
    assert document["errors"][0]["parameter"] == "x"


def test_a_post_refuses_parameters(api: FlaskClient) -> None:
    response = api.post(f"{PATH}?limit=5", json={"sheets": [SHEET]})
    assert problem_of(response, 422)["errors"][0]["parameter"] == "limit"
