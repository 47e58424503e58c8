"""A job that gives every field, computed: the answer has the published shape, and what it leaves open is explained."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings
from support.description import validator
from support.jobs import FULL_JOB

SHEETS = (0, 1, 2, 3, 4, 5, 6, 14)
"""Of the many sheets of that job: paper, board, partly bonded card, laminate, corrugated, plies, nonwoven, custom."""
OPEN = {
    "/sheets/#/label": "not given",
    "/recommendations/#/sheets/#/signal/one_ply_missing": "the sheet has one ply, so none can lack",
    "/recommendations/#/setups/#/timing/plies_fewest": "sheets come one by one, not shingled",
    "/recommendations/#/setups/#/timing/plies_most": "sheets come one by one, not shingled",
    "/recommendations/#/setups/#/order_items/#/part_number": "illustrative classes cannot be ordered",
    "/recommendations/#/limited_by": "the verdict is that of the chance",
    "/find_out/#/unit": "the question is answered by yes or no",
    "/find_out/#/findings/#/low": "the finding is a yes or a no, or has no lower end",
    "/find_out/#/findings/#/high": "the finding is a yes or a no, or has no upper end",
    "/recommendations/#/reasons/#/source": "the reason is computed, no number of the library stands behind it",
}
"""What may be null in it, and why."""


def left_open(value: Any, path: str = "") -> Iterator[str]:
    if value is None:
        yield re.sub(r"/\d+", "/#", path)
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from left_open(inner, f"{path}/{key}")
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from left_open(inner, f"{path}/{index}")


@pytest.fixture(scope="module")
def answer() -> dict[str, Any]:
    job = {**FULL_JOB, "sheets": [FULL_JOB["sheets"][i] for i in SHEETS], "classes": [], "limit": 2}
    job |= {"catalogue": "reference", "principles": ["ultrasonic"]}
    response = create_app(Settings()).test_client().post("/v1/recommendations", json=job)
    assert response.status_code == 200, response.json
    found: dict[str, Any] = response.json
    return found


def test_it_has_the_published_shape(answer: dict[str, Any]) -> None:
    validator("Answer").validate(answer)


def test_what_it_leaves_open_is_explained(answer: dict[str, Any]) -> None:
    assert set(left_open(answer)) <= set(OPEN)


def test_every_sheet_is_served_or_told_why_not(answer: dict[str, Any]) -> None:
    for recommendation in answer["recommendations"]:
        served = [result["index"] for result in recommendation["sheets"]]
        not_served = {one["index"]: one for one in recommendation["not_served"]}
        assert sorted([*served, *not_served]) == list(range(len(SHEETS)))
        assert all(one["code"] and one["text"] for one in not_served.values())
        assert recommendation["serves"] == {"count": len(served), "of": len(SHEETS)}


def test_everything_that_was_promised_is_there(answer: dict[str, Any]) -> None:
    """Mounting, alignment, timing, reasons, sensitivity, cautions and assumptions have something to say."""
    first = answer["recommendations"][0]
    for setup in first["setups"]:
        assert setup["mounting"]["emitter"]
        assert setup["alignment"]["lateral_mm_1db"] > 0.0
        assert setup["timing"]["readings_per_sheet"] > 0
    assert {reason["code"] for reason in first["reasons"]} >= {"most-sensitive", "limiting-margin", "trapped-air"}
    for part in ("trial", "assumptions", "cautions"):
        assert answer[part], part
