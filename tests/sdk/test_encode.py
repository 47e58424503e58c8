"""The JSON of a job."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from sheetmargin import (
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
    Wall,
)
from sheetmargin.encode import job_to_json


def encoded(question: Any) -> Any:
    return json.loads(job_to_json(question))


def test_one_sheet_is_a_job_and_none_is_left_out() -> None:
    sheet = Sheet(material="copy-paper", grammage_gsm=80)
    assert encoded(sheet) == {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}
    assert encoded([sheet, sheet]) == encoded(Job(sheets=(sheet, sheet)))


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
        (Sheet(material="pet", thickness_um=float("nan")), "/sheets/0/thickness_um"),
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
