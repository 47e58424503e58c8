"""Columns of a table are fields of a job."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest
from sheetmargin import Fault, InvalidJob, Outcome
from sheetmargin.tables.columns import PARTS, columns
from sheetmargin.tables.headers import meanings_of
from sheetmargin.tables.job import job_of, named_by_column

NESTED = {
    "sheets",
    "line",
    "environment",
    "controller",
    "targets",
    "require",
    "prefer",
    "surface",
    "layers",
    "corrugated",
    "trials",
}


@pytest.mark.parametrize("part", PARTS)
def test_every_plain_field_has_a_column(part: str) -> None:
    dotted = "" if part in ("", "sheet") else f"{part}."
    for field in fields(PARTS[part]):
        if field.name not in {*NESTED, "corrugated", "custom", "sheet_gauge", "double"}:
            assert columns()[dotted + field.name].path == ((part,) if part else ()) + (field.name,)
            assert field.name in columns()


@pytest.mark.parametrize(
    ("row", "job"),
    [
        ({"material": " pet ", "thickness_um": "12"}, {"sheets": [{"material": "pet", "thickness_um": 12}]}),
        ({"reference": "007", "label": "1e3"}, {"sheets": [{"label": "1e3"}], "reference": "007"}),
        ({"flutter_mm": "1"}, {"sheets": [{}], "line": {"flutter_mm": 1}}),
        ({"line.flutter_mm": "1"}, {"sheets": [{}], "line": {"flutter_mm": 1}}),
        ({"temperature_min_c": "5"}, {"sheets": [{}], "environment": {"temperature_min_c": 5}}),
        ({"require.temperature_min_c": "5"}, {"sheets": [{}], "require": {"temperature_min_c": 5}}),
        ({"classes": "a, b;c ,"}, {"sheets": [{}], "classes": ["a", "b", "c"]}),
        ({"contactless": "TRUE"}, {"sheets": [{}], "require": {"contactless": True}}),
        ({"keep_sequence": "False"}, {"sheets": [{}], "keep_sequence": False}),
        ({"contactless": "perhaps"}, {"sheets": [{}], "require": {"contactless": "perhaps"}}),
        ({"sheet_gauge.number": "20"}, {"sheets": [{"sheet_gauge": {"number": 20}}]}),
        ({"double.contact": "partial"}, {"sheets": [{"double": {"contact": "partial"}}]}),
        ({"custom.trapped_air_um.p50": "12"}, {"sheets": [{"custom": {"trapped_air_um": {"p50": 12}}}]}),
        ({"grammage_gsm": "nan"}, {"sheets": [{"grammage_gsm": "nan"}]}),
        ({"grammage_gsm": "eighty"}, {"sheets": [{"grammage_gsm": "eighty"}]}),
        ({"grammage_gsm": "", "price": "3"}, {"sheets": [{}]}),
    ],
)
def test_a_row_is_a_job(row: dict[str, str], job: dict[str, Any]) -> None:
    assert job_of(row) == job


@pytest.mark.parametrize(
    ("pointer", "given", "name"),
    [
        ("/sheets/0/grammage_gsm", ["material", "grammage_gsm"], "grammage_gsm"),
        ("/sheets/0/material", [], "material"),
        ("/line/flutter_mm", ["line.flutter_mm"], "line.flutter_mm"),
        ("/line/flutter_mm", [], "flutter_mm"),
        ("/require/housing/0", ["housing"], "housing"),
        ("/sheets/0/double", [], "/sheets/0/double"),
        (None, [], None),
    ],
)
def test_a_problem_names_its_column(pointer: str | None, given: list[str], name: str | None) -> None:
    (fault,) = named_by_column([Fault(code="x", pointer=pointer, detail="Too much.")], meanings_of(given))
    assert fault.pointer == name


def test_a_contradiction_is_told_once() -> None:
    faults = [Fault(code="x", pointer=name, detail="They contradict each other.") for name in ("a", "b")]
    row = Outcome(
        index=0, error=InvalidJob("Wrong.", errors=[*faults, Fault(code="x", pointer="c", detail="Too much.")])
    ).row()
    assert row["problem"] == "a, b: They contradict each other.; c: Too much."
    assert row["problem_field"] == "a"
