"""A sheet from one line of text: what people order by, in English and German, and what cannot be told."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.materials.constructions import load_constructions
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.sheet_text import Mark, Reading, number, read_sheet, written

LIBRARY = load_library()

SIXTEEN: list[tuple[str, str, dict[str, Any]]] = [
    ("en", "80 gsm copy paper", {"material": "copy-paper", "grammage_gsm": 80}),
    ("en", "0.76 mm PVC", {"material": "pvc-rigid", "thickness_um": 760}),
    ("en", "18 pt folding boxboard", {"material": "folding-boxboard", "caliper_pt": 18}),
    ("en", "20 lb bond", {"material": "copy-paper", "basis_weight_lb": 20, "basis": "bond"}),
    ("en", "E flute", {"construction": "corrugated-e"}),
    ("en", "1,200 micron greyboard", {"material": "greyboard", "thickness_um": 1200}),
    ("en", "26 gauge steel", {"material": "steel", "sheet_gauge": {"system": "steel", "number": 26}}),
    (
        "en",
        "PET 12 / aluminium foil 9 / PE 75",
        {
            "layers": [
                {"material": "pet", "thickness_um": 12},
                {"material": "aluminium-foil", "thickness_um": 9},
                {"material": "pe-ld", "thickness_um": 75},
            ]
        },
    ),
    ("de", "Kopierpapier 80 g/m²", {"material": "copy-paper", "grammage_gsm": 80}),
    ("de", "Hart-PVC 0,76 mm", {"material": "pvc-rigid", "thickness_um": 760}),
    ("de", "Graupappe, 1.200 µm dick", {"material": "greyboard", "thickness_um": 1200}),
    ("de", "Faltschachtelkarton 350 g", {"material": "folding-boxboard", "grammage_gsm": 350}),
    ("de", "E-Welle", {"construction": "corrugated-e"}),
    (
        "de",
        "C-Welle 140/120/140",
        {"corrugated": {"liners_gsm": [140, 140], "walls": [{"flute": "C", "medium_gsm": 120}]}},
    ),
    ("de", "0,8 mm Stahlblech", {"material": "steel", "thickness_um": 800}),
    ("de", "Bankkarte", {"construction": "id-card"}),
]


def read(text: str, mark: Mark = ".") -> tuple[Reading, ...]:
    return read_sheet(text, library=LIBRARY, decimal_mark=mark)


@pytest.mark.parametrize(("language", "text", "sheet"), SIXTEEN, ids=[text for _, text, _ in SIXTEEN])
def test_sixteen_texts(api: FlaskClient, language: str, text: str, sheet: dict[str, Any]) -> None:
    answer = api.get("/v1/sheets", query_string={"text": text}, headers={"Accept-Language": language}).get_json()
    best = answer["readings"][0]
    assert best["certain"]
    assert best["sheet"] == sheet
    assert best["thickness_um"] > 0
    assert best["detail"] is None


@pytest.mark.parametrize(
    ("text", "first", "certain"),
    [
        ("0.5 mm metal", "steel", False),
        ("0.76 mm PVC", "pvc-rigid", True),
        ("sticker", "label-paper", True),
        ("plexi 3 mm", "pmma", True),
        ("18 pt board", "folding-boxboard", True),
        ("100# cover", "card-stock", True),
        ("bank card", "id-card", True),
        ("300 gsm business card", "card-stock", True),
        ("304 stainless, 0.5 mm", "stainless-steel", True),
        ("copy paper 80", "copy-paper", True),
        ("steel 0.8", "steel", True),
        ("50 um polyester film (PET)", "pet", True),
        ("coppy paper 80 gsm", "copy-paper", False),
        ("80#cover", "card-stock", True),
        ("1/8 inch MDF", "mdf", True),
        ('3/16" plywood', "plywood", True),
        ("300gsm card", "card-stock", False),
        ("A4 80 g", "copy-paper", False),
        ("80 gsm", "copy-paper", False),
        ("80 lb coated paper", "coated-paper", False),
    ],
)
def test_other_words(text: str, first: str, certain: bool) -> None:
    best = read(text)[0]
    assert best.ids == (first,)
    assert best.certain == certain
    assert best.sheet is not None


def test_a_fraction_is_read_whole() -> None:
    assert [read(text)[0].spec.thickness_in for text in ("1/8 inch MDF", '1 1/4" plywood')] == [0.125, 1.25]


def test_a_basis_weight_without_a_basis_may_be_several_sheets() -> None:
    bases = [reading.spec.basis for reading in read("80 lb coated paper") if reading.ids == ("coated-paper",)]
    assert {"bond", "text", "cover"} <= set(bases)


@pytest.mark.parametrize(
    ("text", "english", "german"),
    [
        ("1,200", 1200, 1.2),
        ("1.200", 1.2, 1200),
        ("0,760", 0.76, 0.76),
        ("1.234.567", 1_234_567, 1_234_567),
        ("1.200,5", 1200.5, 1200.5),
        ("1,200.5", 1200.5, 1200.5),
        ("1\u202f200", 1200, 1200),
        ("80,5", 80.5, 80.5),
    ],
)
def test_numbers(text: str, english: float, german: float) -> None:
    assert number(text, ".") == english
    assert number(text, ",") == german


def test_a_size_is_missing_or_cannot_be_right() -> None:
    (missing, *_), (wrong, *_) = read("copper"), read("copy paper 900 gsm")
    assert missing.certain
    assert (missing.sheet, missing.fault) == (None, None)
    assert wrong.sheet is None
    assert wrong.fault is not None
    assert "usual" in str(wrong.fault)
    assert "g/m²" in wrong.fault.expected
    # A construction has its own size: the same is no contradiction, another is.
    assert read("0.76 mm bank card")[0].spec.construction == "id-card"
    assert read("5 mm bank card")[0].fault is not None


@pytest.mark.parametrize(
    "text", ["", "80 gsm", "xyzzy", "/ / /", "20 lb", "," * 150, "1 " * 90, "lb/msf" * 20, "A flute 1/2"]
)
def test_nothing_is_known(text: str) -> None:
    assert not any(reading.certain for reading in read(text))


@pytest.mark.parametrize("language", ["en", "de"])
def test_what_was_understood_is_understood_again(language: Any) -> None:
    """Every material and construction, by its written text."""
    mark: Mark = "." if language == "en" else ","
    texts = [f"{material.id} {material.thickness_um.range[1]:g} um" for material in LIBRARY.materials.values()]
    for text in [*texts, *load_constructions(), "2-ply tissue 17 gsm", *(text for _, text, _ in SIXTEEN)]:
        first = read(text, mark)[0]
        again = read(written(first, library=LIBRARY, language=language), mark)[0]
        assert again.spec == first.spec, text
        assert again.certain, text


def test_a_question_that_is_none(api: FlaskClient) -> None:
    for query in ("", "text=", "text=a&decimal_mark=x", "text=" + "a" * 201):
        problem = api.get(f"/v1/sheets?{query}")
        assert problem.status_code == 422
        assert problem.get_json()["errors"][0]["parameter"] in ("text", "decimal_mark")


@pytest.mark.parametrize(
    ("language", "detail", "expected"),
    [
        ("en", "A thickness of 900000 µm is far outside the usual for copper (9 to 4000 µm).", "9 to 4000 µm"),
        (
            "de",
            "Eine Dicke von 900000 µm liegt weit außerhalb des für Kupfer Üblichen (9 bis 4000 µm).",
            "9 bis 4000 µm",
        ),
    ],
)
def test_what_is_wrong_with_a_size(api: FlaskClient, language: str, detail: str, expected: str) -> None:
    query = {"text": "900 mm copper sheet", "language": language}
    (reading, *_) = api.get("/v1/sheets", query_string=query).get_json()["readings"]
    assert (reading["detail"], reading["expected"]) == (detail, expected)
