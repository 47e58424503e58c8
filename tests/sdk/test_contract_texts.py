"""What each field of the contract says of itself: what it is, its unit, its reference point, and when it is null."""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from types import NoneType
from typing import Any, get_args, get_type_hints

import pytest
import sheetmargin.contract
from sheetmargin.contract.fields import field_texts

SYMBOLS = {
    "um": "µm",
    "g/m2": "g/m²",
    "kg/m3": "kg/m³",
    "deg": "°",
    "degrees C": "°C",
    "um/(Pa s)": "µm/(Pa s)",
    "in": "inches",
}
FEWEST_WORDS = 5
ELLIPTICAL = re.compile(
    r"(Of|Up|Down|From|To|Along|Across|Between|It|Its|That|By)\b|(What|How|Why|Where)\b(\W+\w+){0,4}\W*$"
)
"""Without a noun of its own, or with nothing but a question word and a verb."""


def kinds() -> Iterator[Any]:
    for module in pkgutil.iter_modules(sheetmargin.contract.__path__, "sheetmargin.contract."):
        for kind in vars(importlib.import_module(module.name)).values():
            if is_dataclass(kind) and kind.__module__ == module.name:
                yield kind


def faults_of(text: str, *, unit: str | None = None, nullable: bool = False) -> list[str]:
    """What a description leaves unsaid."""
    symbol = SYMBOLS.get(unit or "", unit)
    told = {
        "too short": len(text.split()) < FEWEST_WORDS,
        "elliptical": ELLIPTICAL.match(text) is not None,
        "no sentence": not (text[:1].isupper() and text.endswith(".")),
        "without its unit": symbol is not None and symbol not in text,
        "silent on null": nullable and re.search(r"\bnull\b|\bnot given\b", text) is None,
    }
    return [fault for fault, found in told.items() if found]


@pytest.mark.parametrize("kind", [pytest.param(kind, id=kind.__name__) for kind in kinds()])
def test_every_field_says_what_it_is(kind: Any) -> None:
    hints, texts = get_type_hints(kind), field_texts(kind)
    found = {
        field.name: faults
        for field in fields(kind)
        if (
            faults := faults_of(
                texts[field.name], unit=field.metadata.get("unit"), nullable=NoneType in get_args(hints[field.name])
            )
        )
    }
    assert found == {}
    assert faults_of(" ".join(kind.__doc__.split()).partition(". ")[0].rstrip(".") + ".") == []


@pytest.mark.parametrize(
    ("text", "unit", "nullable", "fault"),
    [
        ("Half of the gap.", None, False, "too short"),
        ("What is left of it.", None, False, "elliptical"),
        ("Of the pair's axis against the normal.", None, False, "elliptical"),
        ("Distance from face to face of a pair.", "mm", False, "without its unit"),
        ("Distance in mm from face to face.", "mm", True, "silent on null"),
        ("Mass of a sheet per area in g/m2.", "g/m2", False, "without its unit"),
        ("Length of a whole sheet in mm", "mm", False, "no sentence"),
    ],
)
def test_a_description_that_says_too_little_is_found(text: str, unit: str, nullable: bool, fault: str) -> None:
    assert faults_of(text, unit=unit, nullable=nullable) == [fault]
