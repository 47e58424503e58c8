"""The JSON of a job."""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

import numpy as np
import pint
import pytest
from sheetmargin import (
    Answer,
    Controller,
    Corrugated,
    Custom,
    Double,
    Environment,
    Gauge,
    InvalidJob,
    Job,
    Layer,
    Line,
    Require,
    Sheet,
    Targets,
    TrappedAir,
    UnexpectedAnswer,
    Wall,
)
from sheetmargin.decode import decode
from sheetmargin.encode import PINT_UNITS, job_to_json
from support.whole import whole


def encoded(question: Any) -> Any:
    return json.loads(job_to_json(question))


def test_one_sheet_is_a_job_and_none_is_left_out() -> None:
    sheet = Sheet(material="copy-paper", grammage_gsm=80)
    assert encoded(sheet) == {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}
    assert encoded([sheet, sheet]) == encoded(Job(sheets=(sheet, sheet)))


def test_a_number_that_is_none_is_not_given() -> None:
    """What a data frame has for an empty cell."""
    missing = [None, float("nan"), np.float32("nan"), Decimal("nan")]
    for value in missing:
        assert encoded(Sheet(material="pet", thickness_um=value)) == {"sheets": [{"material": "pet"}]}
    assert encoded({"sheets": [{"material": "pet", "plies": float("nan")}]}) == {"sheets": [{"material": "pet"}]}


def test_numbers_of_other_kinds() -> None:
    sheet = Sheet(material="pet", thickness_um=np.float32(50), grammage_gsm=Decimal("69.5"), plies=np.int64(2))
    assert encoded(Job(sheets=[sheet], keep_sequence=np.bool_(True))) == {
        "keep_sequence": True,
        "sheets": [{"material": "pet", "thickness_um": 50.0, "grammage_gsm": 69.5, "plies": 2}],
    }


def test_quantities_are_told_in_the_unit_of_the_field() -> None:
    units = pint.UnitRegistry()
    job = Job(
        sheets=[Sheet(material="pet", thickness_in=units("2 mm"), basis_weight_lb=units("1 kg"))],
        line=Line(speed_m_per_min=units("2 m/s"), flutter_deg=units("1 rad")),
        environment=Environment(temperature_min_c=units.Quantity(68, "degF"), relative_humidity_max_pct=units("0.5")),
    )
    asked = encoded(job)
    assert asked["sheets"][0]["thickness_in"] == pytest.approx(2 / 25.4)
    assert asked["sheets"][0]["basis_weight_lb"] == pytest.approx(1 / 0.45359237)
    assert asked["line"]["speed_m_per_min"] == pytest.approx(120)
    assert asked["line"]["flutter_deg"] == pytest.approx(57.29578)
    assert asked["environment"]["temperature_min_c"] == pytest.approx(20)
    assert asked["environment"]["relative_humidity_max_pct"] == pytest.approx(50)
    with pytest.raises(InvalidJob, match="/sheets/0/thickness_um: 2 kilogram cannot be told in um"):
        job_to_json(Sheet(material="pet", thickness_um=units("2 kg")))


def test_pint_knows_every_unit_of_a_job_but_that_of_one_instrument() -> None:
    units, unknown = pint.UnitRegistry(), set()
    for kind in (Sheet, Layer, Custom, Corrugated, Wall, Line, Environment, Controller, Targets, TrappedAir):
        for unit in {field.metadata.get("unit", "") for field in fields(kind)}:
            try:
                units.Unit(PINT_UNITS.get(unit, unit))
            except (ValueError, pint.errors.PintError):
                unknown.add(unit)
    assert unknown == {"s per 100 ml"}
    assert units("1 in").to(PINT_UNITS["pt"]).magnitude == pytest.approx(1000)
    assert units("1 g/m**2").to(PINT_UNITS["g/m2"]).magnitude == 1


def test_a_job_goes_into_a_file_and_comes_back() -> None:
    job = Job(reference="Q-1", sheets=(Sheet(layers=(Layer(material="pet", thickness_um=50.0),)),), classes=("a", "b"))
    assert Job.from_json(job.to_json()) == job
    assert job.to_dict() == encoded(job)
    for text, told in (
        ('{"sheets": [{"materail": "pet"}]}', "/sheets/0/materail: There is no such field.; did you mean material"),
        ('{"sheets": [{"thickness_um": "thin"}]}', "/sheets/0/thickness_um is 'thin', not a number"),
        ("{", "no Job"),
    ):
        with pytest.raises(InvalidJob, match=told):
            Job.from_json(text)


def test_an_answer_goes_into_a_file_and_comes_back() -> None:
    answer = decode(Answer, whole(Answer, {"recommendations": [{"setups": [{}]}]}))
    assert Answer.from_json(answer.to_json()) == answer
    assert answer.to_dict()["recommendations"][0]["changeovers"].keys() == {"class", "geometry", "profile"}
    frame = answer.to_frame("polars")
    assert frame.columns[:3] == ["rank", "verdict", "chance"]
    assert len(frame) == len(answer.recommendations)
    with pytest.raises(UnexpectedAnswer, match="missing"):
        Answer.from_json("{}")


def test_zero_false_and_empty_are_kept_where_they_say_something() -> None:
    job = Job(sheets=[], line=Line(flutter_mm=0), require=Require(contactless=False))
    assert encoded(job) == {"sheets": [], "line": {"flutter_mm": 0}, "require": {"contactless": False}}


def test_what_is_as_it_would_be_anyway_is_left_out() -> None:
    """An older service need not know a field that is at its default."""
    job = Job(sheets=[Sheet(plies=1, double=Double(contact="air"))], classes=(), keep_sequence=False, limit=5)
    assert encoded(job) == {"sheets": [{}]}


def test_every_part_of_a_job() -> None:
    """The example of the contract, part by part."""
    job = Job(
        reference="quote 4711-2",
        sheets=[
            Sheet(label="cover", material="copy-paper", grammage_gsm=80, grammage_tolerance_pct=4),
            Sheet(material="pvc-rigid", thickness_um=760, double=Double(contact="partial", overlap_mm=80)),
            Sheet(layers=[Layer(material="copy-paper", grammage_gsm=70), Layer(material="glassine", grammage_gsm=60)]),
            Sheet(corrugated=Corrugated(liners_gsm=[125, 125], walls=[Wall(flute="B", medium_gsm=112)])),
            Sheet(material="steel", sheet_gauge=Gauge(system="steel", number=20)),
            Sheet(
                material="custom",
                thickness_um=1500,
                custom=Custom(
                    density_kg_m3=1180,
                    youngs_modulus_gpa=3.0,
                    poisson_ratio=0.37,
                    trapped_air_um=TrappedAir(p5=3, p50=12, p95=60),
                ),
            ),
        ],
        line=Line(clearance_above_mm=40, speed_m_per_min=120, lanes=2),
        environment=Environment(temperature_min_c=15, temperature_max_c=35),
        controller=Controller(scan_ms=10),
        targets=Targets(double_as_single=10),
        require=Require(housing=["M18"], contactless=True),
        principles=["ultrasonic"],
        limit=3,
    )
    assert encoded(job) == {
        "reference": "quote 4711-2",
        "sheets": [
            {"label": "cover", "material": "copy-paper", "grammage_gsm": 80, "grammage_tolerance_pct": 4},
            {"material": "pvc-rigid", "thickness_um": 760, "double": {"contact": "partial", "overlap_mm": 80}},
            {"layers": [{"material": "copy-paper", "grammage_gsm": 70}, {"material": "glassine", "grammage_gsm": 60}]},
            {"corrugated": {"liners_gsm": [125, 125], "walls": [{"flute": "B", "medium_gsm": 112}]}},
            {"material": "steel", "sheet_gauge": {"system": "steel", "number": 20}},
            {
                "material": "custom",
                "thickness_um": 1500,
                "custom": {
                    "density_kg_m3": 1180,
                    "youngs_modulus_gpa": 3.0,
                    "poisson_ratio": 0.37,
                    "trapped_air_um": {"p5": 3, "p50": 12, "p95": 60},
                },
            },
        ],
        "line": {"clearance_above_mm": 40, "speed_m_per_min": 120, "lanes": 2},
        "environment": {"temperature_min_c": 15, "temperature_max_c": 35},
        "controller": {"scan_ms": 10},
        "targets": {"double_as_single": 10},
        "require": {"housing": ["M18"], "contactless": True},
        "principles": ["ultrasonic"],
        "limit": 3,
    }


def test_numpy_numbers_are_numbers() -> None:
    sheet = Sheet(material="pet", thickness_um=np.float32(12.5), plies=np.int64(2))  # type: ignore[arg-type]
    assert encoded(sheet)["sheets"] == [{"material": "pet", "thickness_um": 12.5, "plies": 2}]


def test_text_is_utf8() -> None:
    assert "Größe".encode() in job_to_json(Sheet(label="Größe", material="pet", thickness_um=12))


@dataclass
class Foreign:
    grammage_gsm: object


@pytest.mark.parametrize(
    ("question", "pointer"),
    [
        (Job(sheets=[Sheet()], line=Line(speed_m_per_min=float("inf"))), "/line/speed_m_per_min"),
        (Sheet(material=object()), "/sheets/0/material"),  # type: ignore[arg-type]
        (Sheet(label=b"bytes"), "/sheets/0/label"),  # type: ignore[arg-type]
        (Foreign(80), None),
        ("copy-paper", None),
        ({"sheets": [{"thickness_um": float("inf")}]}, "/sheets/0/thickness_um"),
        ({"sheets": [{"label": {1, 2}}]}, "/sheets/0/label"),
        (Sheet(label="half a pair: \ud800"), None),
        (None, None),
    ],
)
def test_what_json_cannot_carry_is_an_invalid_job(question: Any, pointer: str | None) -> None:
    with pytest.raises(InvalidJob) as caught:
        job_to_json(question)
    (fault,) = caught.value.errors
    assert fault.pointer == pointer
    assert fault.expected


def test_a_job_by_the_names_of_the_contract() -> None:
    assert json.loads(job_to_json({"sheets": ({"material": "pet", "thickness_um": "thin"},), "limit": None})) == {
        "sheets": [{"material": "pet", "thickness_um": "thin"}],
        "limit": None,
    }
