"""Real answers in both languages: what a reader must not meet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from flask.testing import FlaskClient

JOBS: Mapping[str, dict[str, Any]] = {
    "paper": {
        "sheets": [{"material": "copy-paper", "grammage_gsm": 80}],
        "line": {"speed_m_per_min": 120, "sheet_length_mm": 297, "sheet_spacing_mm": 60, "clearance_above_mm": 80},
        "controller": {"scan_ms": 4, "input_filter_ms": 2},
    },
    "board": {"sheets": [{"material": "folding-boxboard", "grammage_gsm": 350, "plies": 2}]},
    "film": {"sheets": [{"material": "pet", "thickness_um": 50}]},
    "plate": {"sheets": [{"material": "pmma", "thickness_um": 3000}]},
    "metal": {"sheets": [{"material": "steel", "thickness_um": 800}]},
    "corrugated": {"sheets": [{"construction": "corrugated-b"}]},
    "list": {
        "sheets": [
            {"label": "cover", "material": "coated-board", "grammage_gsm": 300},
            {"material": "copy-paper", "grammage_gsm": 80},
            {"material": "pet", "thickness_um": 50},
            {"material": "tissue", "grammage_gsm": 18},
        ]
    },
    "trial": {"sheets": [{"material": "cork", "thickness_um": 8000}]},
    "nothing": {"sheets": [{"material": "tissue", "grammage_gsm": 18}], "principles": ["thickness"]},
    "stream": {
        "sheets": [{"material": "copy-paper", "grammage_gsm": 80}],
        "line": {"feeding": "shingled", "shingle_pitch_mm": 100, "sheet_length_mm": 297},
    },
}
WRONG = (
    {"sheets": [{"material": "copy-paper"}]},
    {"sheets": [{"material": "board", "thickness_um": 500}]},
    {"sheets": [{"material": "pet", "thickness_um": 19_999}], "limit": 21},
    {"sheets": [{"material": "steel", "grammage_gsm": 80, "thickness_um": 4000}]},
)
NEVER = (
    r"sheet index|\bIndex \d|index \d",
    r"/(line|sheets?|targets|environment|controller)/",
    r"\d um\b(?! etwa)",
    r"g/m2",
    r"per cent",
    r"is no ",
    r"-0(\.0+)?(?![.,\d])",
    r"[1-9][.]\d{4,}|[1-9],\d{4,}",
    r"\d{5,}",
    r"\de[+-]\d",
    r"\{|\}",
    r"\bNone\b",
    r"\bTrue\b|\bFalse\b",
)
ENGLISH_WORDS = re.compile(
    r"\b(the|of|and|is|are|with|from|not|no|sheet|sheets|which|that|this|than|given|assumed|per|without|tilt|gap)\b"
)
NAMES = re.compile(
    r"\b(sheetmargin fit|Gibson|Ashby|Cellular Solids|Encyclopedia of [A-Z][\w ]*|Sound and Structural Vibration|"
    r"Structure-Borne Sound|Fundamentals of Acoustics|Acoustic Properties|CRC Handbook of Chemistry and Physics|"
    r"cover)\b"
)
"""Titles, commands and what the caller wrote."""


READ = ("text", "made_of", "source", "title", "detail", "expected")


def spoken(value: Any, name: str = "") -> Iterator[str]:
    """Every text of an answer or a problem that a person reads."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in ("values", "job"):
                yield from spoken(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from spoken(inner, name)
    elif isinstance(value, str) and (name in READ or (name == "name" and " " in value)):
        yield value


def told(api: FlaskClient, job: dict[str, Any], language: str, *, status: int) -> list[str]:
    response = api.post("/v1/recommendations", json=job, headers={"Accept-Language": language})
    assert response.status_code == status
    return sorted(set(spoken(response.get_json())))


def strange(texts: list[str], language: str) -> list[str]:
    found = [text for text in texts for pattern in NEVER if re.search(pattern, text)]
    if language == "de":
        found += [text for text in texts if ENGLISH_WORDS.search(NAMES.sub("", text))]
    return found


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("name", JOBS)
def test_an_answer_reads_well(real_api: FlaskClient, name: str, language: str) -> None:
    texts = told(real_api, JOBS[name], language, status=200)
    assert len(texts) > 15
    assert strange(texts, language) == []


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("number", range(len(WRONG)))
def test_a_problem_reads_well(real_api: FlaskClient, number: int, language: str) -> None:
    texts = told(real_api, WRONG[number], language, status=422)
    assert [text for text in strange(texts, language) if "one of" not in text and "eines von" not in text] == []


@pytest.mark.parametrize("language", ["en", "de"])
def test_readings_and_machines_are_told_well(real_api: FlaskClient, language: str) -> None:
    sheet = {"material": "copy-paper", "grammage_gsm": 80}
    place = {"detector_class": "ultrasonic-300k", "gap_mm": 40, "tilt_deg": 0}
    levels = (("single", 38), ("single", 38.5), ("single", 55), ("double", 60), ("double", 62), ("double", 61))
    readings = [place | {"state": state, "attenuation_db": level} for state, level in levels]
    setup = place | {"profile": {"band": {"low": 20, "high": 46}, "hold_ms": 8}}
    fit = {"sheet": sheet, "readings": readings}
    diagnosis = {"sheet": sheet, "setup": setup, "symptoms": ["false-stops", "depends-on-position"]}
    for path, question in (("fits", fit), ("diagnoses", diagnosis)):
        response = real_api.post(f"/v1/{path}", json=question, headers={"Accept-Language": language})
        assert response.status_code == 200
        assert strange(sorted(set(spoken(response.get_json()))), language) == []
    causes = response.get_json()["causes"]
    ranks = {cause["rank"] for cause in causes}
    assert {cause["test"]["values"]["other_rank"] for cause in causes if cause["test"]} <= ranks


def test_a_list_names_its_sheets(real_api: FlaskClient) -> None:
    texts = told(real_api, JOBS["list"], "en", status=200)
    for name in ("cover", "copy paper, 80 g/m²", "polyester film (PET), 50 µm", "tissue, 18 g/m²"):
        assert any(name in text for text in texts)


def test_metal_and_plates_are_called_so_in_german(real_api: FlaskClient) -> None:
    for name in ("metal", "plate"):
        texts = told(real_api, JOBS[name], "de", status=200)
        assert not any("bogen" in text.lower() for text in texts)
