"""Examples of the published description, computed by the service that publishes them."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from sheetmargin.contract.job import Job

from sheetmargin_service.api.decode import JSON, decode_value
from sheetmargin_service.api.encode import encode
from sheetmargin_service.api.problems import MEDIA_TYPE, Problem
from sheetmargin_service.api.resolve_job import resolve_job
from sheetmargin_service.api.schemas.derive import question_schema
from sheetmargin_service.api.service import Service

JOB: Mapping[str, Any] = {
    "reference": "quote 4711-2",
    "sheets": [{"label": "cover", "material": "copy-paper", "grammage_gsm": 80, "grammage_tolerance_pct": 4}],
    "line": {"clearance_above_mm": 100, "clearance_below_mm": 100, "speed_m_per_min": 120, "flutter_mm": 2},
    "environment": {"temperature_min_c": 15, "temperature_max_c": 30},
    "limit": 1,
}
WRONG_JOB: Mapping[str, Any] = {"sheets": [{"material": "copy-papr", "grammage_gsm": 80}]}
MODEL_VERSION = "0123456789ab"
"""Stands in the examples for the version: the description changes where the contract does, not with every number."""
SHEET_QUERY: Mapping[str, Any] = {"material": "copy-paper", "grammage_gsm": 80, "limit": 1}


def with_examples(document: Mapping[str, Any], service: Service) -> dict[str, Any]:
    """The description with a request and its computed answer, and a problem, for each way to ask."""
    described: dict[str, Any] = deepcopy(dict(document))
    calls = described["paths"]["/v1/recommendations"]
    calls["post"]["requestBody"]["content"][JSON]["example"] = dict(JOB)
    calls["post"]["responses"]["200"]["content"][JSON]["example"] = _answer(JOB, service)
    calls["post"]["responses"]["422"]["content"][MEDIA_TYPE]["example"] = _problem(WRONG_JOB, service)
    sheet = {name: value for name, value in SHEET_QUERY.items() if name != "limit"}
    calls["get"]["responses"]["200"]["content"][JSON]["example"] = _answer({"sheets": [sheet], "limit": 1}, service)
    for parameter in calls["get"]["parameters"]:
        if parameter["name"] in SHEET_QUERY:
            parameter["example"] = SHEET_QUERY[parameter["name"]]
    return described


def _answer(job: Mapping[str, Any], service: Service) -> dict[str, Any]:
    resolved = resolve_job(decode_value(dict(job), question_schema(Job)()), service)
    answer = service.recommend(resolved.job, catalogue=resolved.catalogue, library=service.library)
    return encode(answer, language="en") | {"model_version": MODEL_VERSION}


def _problem(job: Mapping[str, Any], service: Service) -> dict[str, Any]:
    try:
        resolve_job(decode_value(dict(job), question_schema(Job)()), service)
    except Problem as problem:
        return problem.document(request_id="4f1c0d5e9a7b4c1d8e2f3a4b5c6d7e8f")
    raise AssertionError("the example of a problem has none")
