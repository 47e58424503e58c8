"""Errors over HTTP: each is a problem of a documented kind."""

from __future__ import annotations

import logging
from dataclasses import replace
from typing import Any, NoReturn

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.api.faults import Fault, json_pointer
from sheetmargin_service.api.problems import PROBLEM_TYPES, Problem
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from werkzeug.test import TestResponse

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"


def problem_of(response: TestResponse, kind: str) -> dict[str, Any]:
    document: dict[str, Any] = response.get_json()
    assert response.content_type == "application/problem+json"
    assert response.status_code == document["status"] == PROBLEM_TYPES[kind].status
    assert document["type"] == f"/docs/problems/{kind}"
    assert document["title"] == PROBLEM_TYPES[kind].title
    assert document["request_id"] == response.headers["X-Request-Id"]
    assert response.headers["Cache-Control"] == "no-store"
    return document


@pytest.mark.parametrize("kind", sorted(PROBLEM_TYPES))
def test_the_type_of_a_problem_is_a_page(api: FlaskClient, kind: str) -> None:
    path = Problem(kind).document()["type"]
    page = api.get(path)
    assert (page.status_code, page.mimetype) == (200, "text/html")
    assert PROBLEM_TYPES[kind].meaning.split("`")[0] in page.text


@pytest.mark.parametrize("path", ["/", "/v1", "/v1/recommendations/", "/v1/Materials", "/docs/problems/x"])
def test_no_such_path(api: FlaskClient, path: str) -> None:
    problem_of(api.get(path), "not-found")


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "TRACE", "BREW"])
def test_no_such_method(api: FlaskClient, method: str) -> None:
    response = api.open("/v1/recommendations", method=method)
    document = problem_of(response, "method-not-allowed")
    assert {"GET", "HEAD", "OPTIONS", "POST"} == set(response.headers["Allow"].split(", "))
    assert document["errors"][0]["expected"] == response.headers["Allow"]


def test_a_class_result_to_a_get(api: FlaskClient) -> None:
    response = api.post("/v1/materials", json={})
    problem_of(response, "method-not-allowed")
    assert "POST" not in response.headers["Allow"]


@pytest.mark.parametrize("accept", ["text/html", "application/xml;q=1", "application/json;q=0", "image/*"])
def test_no_common_media_type(api: FlaskClient, accept: str) -> None:
    document = problem_of(api.get(QUERY, headers={"Accept": accept}), "not-acceptable")
    assert document["errors"][0] | {"detail": ""} == {
        "code": "media-type",
        "header": "Accept",
        "detail": "",
        "expected": "application/json",
    }


@pytest.mark.parametrize(
    "accept",
    [
        "*/*",
        "application/*",
        "text/html, application/json;q=0.1",
        "",
        "application/json; v=1, */*",
        "application/problem+json",
    ],
)
def test_a_common_media_type(api: FlaskClient, accept: str) -> None:
    assert api.get(QUERY, headers={"Accept": accept}).status_code == 200


def test_problems_do_not_ask_for_their_media_type(api: FlaskClient) -> None:
    problem_of(api.get("/v1/recommendations", headers={"Accept": "application/json"}), "invalid-values")


def test_a_fault_of_the_service_tells_nothing_of_itself(caplog: pytest.LogCaptureFixture) -> None:
    def fails(*_: Any, **__: Any) -> NoReturn:
        raise RuntimeError("secret of /srv/keys")

    app = create_app(service=replace(load_service(Settings()), recommend=fails))
    with caplog.at_level(logging.ERROR):
        response = app.test_client().get(QUERY)
    problem_of(response, "internal")
    assert "secret" not in response.text
    assert "Traceback" not in response.text
    assert "secret of /srv/keys" in caplog.text
    assert response.headers["X-Request-Id"] in caplog.text
    assert response.headers["X-Content-Type-Options"] == "nosniff"


def test_places_of_faults() -> None:
    inner = Fault(code="x", detail="x", path=("sheets", 0, "double", "overlap_mm"))
    assert Problem("invalid-values", inner).document()["errors"][0]["pointer"] == "/sheets/0/double/overlap_mm"
    assert json_pointer(("a/b", "c~d", 0)) == "/a~1b/c~0d/0"
    assert json_pointer(()) == ""


def test_a_problem_of_many_faults_is_cut() -> None:
    document = Problem("invalid-values", *[Fault(code="x", detail="x")] * 250).document()
    assert len(document["errors"]) == 100
    assert document["detail"].startswith("More than 100 entries need correction")
