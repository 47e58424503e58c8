"""The contract against the service that reads, computes and writes by it."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from marshmallow import ValidationError
from sheetmargin.contract.fields import field_texts
from sheetmargin.contract.job import Corrugated, Environment, Line, Require, Sheet, Wall
from sheetmargin.contract.measure import DiagnosisQuestion, Symptom
from sheetmargin.contract.mounting import Window
from sheetmargin.contract.notes import Assumption, Note, NotServed
from sheetmargin_service.acoustics.air import TEMPERATURE_LIMITS_C
from sheetmargin_service.api.encode import encode, given, json_bytes
from sheetmargin_service.api.schemas.derive import answer_schema, question_schema
from sheetmargin_service.detectors.ingress import RATING
from sheetmargin_service.materials.permeance import PERMEANCE_LIMITS
from sheetmargin_service.materials.resolve import MAX_PLIES
from sheetmargin_service.materials.sizes import GRAMMAGE_LIMITS_GSM, THICKNESS_LIMITS_UM, UM_PER_INCH, UM_PER_POINT
from sheetmargin_service.measurement.symptoms import SYMPTOMS


def told(kind: Any, name: str) -> Any:
    return next(field.metadata for field in fields(kind) if field.name == name)


@pytest.mark.parametrize(
    ("kind", "name", "limits"),
    [
        (Sheet, "grammage_gsm", GRAMMAGE_LIMITS_GSM),
        (Sheet, "thickness_um", THICKNESS_LIMITS_UM),
        (Sheet, "caliper_pt", tuple(um / UM_PER_POINT for um in THICKNESS_LIMITS_UM)),
        (Sheet, "thickness_in", tuple(um / UM_PER_INCH for um in THICKNESS_LIMITS_UM)),
        (Sheet, "air_permeance_um_per_pa_s", PERMEANCE_LIMITS),
        (Sheet, "plies", (1, MAX_PLIES)),
        (Environment, "temperature_min_c", TEMPERATURE_LIMITS_C),
    ],
)
def test_what_may_be_asked_is_what_the_physics_takes(kind: Any, name: str, limits: tuple[float, float]) -> None:
    assert (told(kind, name)["ge"], told(kind, name)["le"]) == limits


def test_lists_shapes_and_words_are_those_of_the_service() -> None:
    assert told(Require, "ingress")["shape"] == RATING
    assert told(DiagnosisQuestion, "symptoms")["most"] == len(SYMPTOMS) == len(Symptom.__args__)  # type: ignore[attr-defined]


def test_numbers_are_written_rounded_and_as_json_has_them() -> None:
    window = Window(nominal=np.float64(26.04), min=-0.04, max=np.float32(3.25))  # type: ignore[arg-type]
    text = json_bytes(encode(window, language="en")).decode()
    assert text == '{"nominal":26.0,"min":0.0,"max":3.2}'
    values = {"a": np.float64(1234.5678), "b": np.int64(7), "c": np.bool_(True), "d": -0.0, "e": "x", "f": None}
    note = encode(Note(code="behind-by-effort", values=values | {"above": 1, "own": 3, "other": 2}), language="en")
    assert json.dumps([note["values"][name] for name in values]) == '[1234.57, 7, true, 0.0, "x", null]'


def test_the_text_is_written_in_the_language_asked_for() -> None:
    note = Assumption(code="default", values={"value": 1.0}, source=None, pointer="/line/flutter_mm", value=1.0)
    assert encode(note, language="en")["text"].startswith("Flutter (height, ±) not given")
    assert encode(note, language="de")["text"].startswith("Bogenflattern (Höhe, ±) nicht angegeben")


def test_a_sheet_without_a_set_up_is_told_with_its_detector() -> None:
    values = {"single_p1": -13.4, "no_sheet_p99": 11.2, "unit": "um"}
    detector = {"detector_class": "thickness-roller", "detector": "thickness-roller", "frequency_khz": None}
    note = NotServed(index=0, code="too-transparent", values=values | detector)
    assert encode(note, language="en")["text"].endswith("and no sheet reaches 11 µm (thickness roller).")
    assert encode(note, language="de")["text"].endswith("reichen sie bis 11 µm (Tastrolle zur Dickenmessung).")
    other = NotServed(index=0, code="too-transparent", values=values)
    assert encode(other, language="en")["text"].endswith("and no sheet reaches 11 µm.")


def test_what_is_not_a_number_is_a_fault_of_the_service() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_bytes(encode(Window(nominal=float("nan"), min=0.0, max=0.0), language="en"))


def test_a_sheet_is_told_as_it_was_given() -> None:
    sheet = Sheet(material="pet", thickness_um=12.0, layers=None, corrugated=None)
    assert given(sheet) == {"material": "pet", "thickness_um": 12.0}
    board = Sheet(corrugated=Corrugated(liners_gsm=(125.0, 125.0), walls=(Wall(flute="B", medium_gsm=112.0),)))
    assert question_schema(Sheet)().load(given(board)) == board


def test_there_is_one_schema_of_a_dataclass_and_direction() -> None:
    assert question_schema(Line) is question_schema(Line)
    assert (question_schema(Line).__name__, answer_schema(Line).__name__) == ("LineInput", "Line")


def test_the_text_below_a_field_is_its_description() -> None:
    assert field_texts(Line)["lanes"] == "Number of lanes side by side, each with a detector of its own."
    assert field_texts(Assumption).keys() == {"code", "text", "values", "source", "pointer", "value"}
    assert question_schema(Line)().fields["lanes"].metadata["description"] == field_texts(Line)["lanes"]


def test_a_schema_of_an_answer_refuses_what_is_no_answer() -> None:
    whole = {"nominal": 1.0, "min": 0.0, "max": 2.0}
    schema = answer_schema(Window)()
    schema.load(whole | {"of_a_later_service": 1})
    for wrong in ({"nominal": 1.0, "min": 0.0}, whole | {"max": "2"}, whole | {"max": None}):
        with pytest.raises(ValidationError):
            schema.load(wrong)
