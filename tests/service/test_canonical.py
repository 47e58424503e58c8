"""One spelling of a question, whatever it was written like."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheetmargin.contract.job import Job, Require, Sheet
from sheetmargin_service.api.canonical import canonical_job, strong_etag
from sheetmargin_service.api.decode import decode_json
from sheetmargin_service.api.resolve_job import resolve_job
from sheetmargin_service.api.schemas.derive import question_schema
from sheetmargin_service.api.service import Service
from sheetmargin_service.app import load_service
from sheetmargin_service.config import Settings

SHEET = {"material": "copy-paper", "grammage_gsm": 80}


@pytest.fixture(scope="module")
def service() -> Service:
    return load_service(Settings())


def canonical(text: str, service: Service) -> str:
    return canonical_job(resolve_job(decode_json(text.encode(), question_schema(Job)()), service).job)


@pytest.mark.parametrize(
    "spelling",
    [
        '{"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}',
        '{"sheets":[{"grammage_gsm":80.0,"material":"copy-paper"}]}',
        '{"sheets": [{"material": "copy-paper", "grammage_gsm": 8e1}], "reference": "4711"}',
        '{"sheets": [{"material": "Copy  Paper", "grammage_gsm": 80}], "keep_sequence": false, "classes": []}',
        '{"sheets": [{"material": "Kopierpapier", "grammage_gsm": 80, "plies": 1, "double": {"contact": "air"}}]}',
        '{"line": {"lanes": 1, "feeding": null}, "catalogue": "reference", "environment": {}, "sheets": '
        '[{"material": "\\u0063opy-paper", "grammage_gsm": 80.000, "double": {}}]}',
    ],
)
def test_spellings_of_one_question(service: Service, spelling: str) -> None:
    assert canonical(spelling, service) == (
        '{"catalogue":"reference","classes":[],"controller":{},"environment":{},"keep_sequence":false,"limit":5,'
        '"line":{"body_through_frame":false,"lanes":1},"prefer":{"principles":[]},"principles":[],'
        '"require":{"housing":[],"output":[],"supply":[]},"sheets":[{"double":{"contact":"air","kind":"another-piece"},'
        '"grammage_gsm":80,"material":"copy-paper","plies":1,"surface":{},"trials":[]}],"targets":{}}'
    )


@pytest.mark.parametrize(
    "other",
    [
        {"sheets": [{**SHEET, "grammage_gsm": 80.1}]},
        {"sheets": [{**SHEET, "label": "cover"}]},
        {"sheets": [SHEET, SHEET]},
        {"sheets": [SHEET], "limit": 4},
        {"sheets": [SHEET], "line": {"flutter_mm": 1}},
        {"sheets": [{"material": "copy-paper", "basis_weight_lb": 20, "basis": "bond"}]},
    ],
)
def test_other_questions(service: Service, other: dict[str, Any]) -> None:
    assert canonical(json.dumps(other), service) != canonical(json.dumps({"sheets": [SHEET]}), service)


@pytest.mark.parametrize(
    "asked",
    [
        lambda names: Job(sheets=[Sheet()], classes=names),
        lambda names: Job(sheets=[Sheet()], principles=names),
        lambda names: Job(sheets=[Sheet()], require=Require(housing=names)),
        lambda names: Job(sheets=[Sheet()], require=Require(output=names)),
        lambda names: Job(sheets=[Sheet()], require=Require(supply=names)),
    ],
    ids=["classes", "principles", "housing", "output", "supply"],
)
def test_lists_that_are_sets(asked: Callable[[list[str]], Job]) -> None:
    assert canonical_job(asked(["a", "b"])) == canonical_job(asked(["b", "a", "b"]))
    assert canonical_job(asked(["a", "b"])) != canonical_job(asked(["a"]))


def test_sheets_are_in_an_order() -> None:
    one, other = Sheet(grammage_gsm=80), Sheet(grammage_gsm=120)
    assert canonical_job(Job(sheets=[one, other])) != canonical_job(Job(sheets=[other, one]))


def test_minus_zero_is_zero(service: Service) -> None:
    cold = {"sheets": [SHEET], "environment": {"temperature_min_c": 0}}
    text = json.dumps(cold)
    assert canonical(text.replace(": 0}", ": -0.0}"), service) == canonical(text, service)


@given(grammage=st.floats(min_value=60, max_value=120))
def test_a_canonical_job_asks_the_same_question(grammage: float) -> None:
    job = decode_json(json.dumps({"sheets": [{**SHEET, "grammage_gsm": grammage}]}).encode(), question_schema(Job)())
    again = decode_json(canonical_job(job).encode(), question_schema(Job)())
    assert again == job
    assert canonical_job(again) == canonical_job(replace(job, reference="4711"))


def test_tags_tell_their_parts_apart() -> None:
    tags = {strong_etag("a", "bc"), strong_etag("ab", "c"), strong_etag("a", "b", "c"), strong_etag("abc")}
    assert len(tags) == 4
