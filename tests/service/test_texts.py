"""No text has an index, a pointer, a figure without a unit, a word that the glossary avoids, or one language alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from sheetmargin_service.materials.corrugated import SOURCE as CORRUGATED_SOURCE
from sheetmargin_service.materials.library import load_sources as library_sources
from sheetmargin_service.materials.permeance import SHEFFIELD_SOURCE
from sheetmargin_service.materials.resolve import GIVEN
from sheetmargin_service.messages.languages import LANGUAGES, Language
from sheetmargin_service.messages.names import Reader, load_sources, source_told
from sheetmargin_service.messages.quantities import figure_of
from sheetmargin_service.messages.say import DERIVED, KINDS, texts, words
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.ultrasonic import facts
from sheetmargin_service.selection.defaults import CONTROLLER, DEFAULTS, SHEETS
from sheetmargin_service.tables import load_table
from support.told_sheets import sheet_of

MESSAGES = "sheetmargin_service.messages"
COUNTS = {
    "above",
    "count",
    "deviations",
    "effort",
    "fewest",
    "fitted",
    "largest_plies",
    "layers",
    "loss_factor",
    "loss_factor_high",
    "loss_factor_low",
    "misreads",
    "most",
    "of",
    "one_more",
    "other_rank",
    "own",
    "own_effort",
    "plies",
    "double_plies",
    "readings",
    "sheets",
    "take_up",
    "trials",
    "teachings",
    "time_slots",
    "tortuosity",
    "value",
}
"""Figures without a unit: counts, ranks, factors. `value` has that of its field."""
NAMES = {
    "after",
    "before",
    "construction",
    "detector_class",
    "flute",
    "influences",
    "limit",
    "material",
    "other",
    "pair",
    "parameters",
    "reference_class",
    "required",
    "requirement",
    "side",
    "standard",
    "state",
    "thread",
    "verdict",
    "single_input",
    "double_input",
}
"""Values that are words."""
AVOIDED: dict[Language, tuple[str, ...]] = {
    "en": (
        r"\bis no\b",
        r"\bindex\b",
        r"\bpointer\b",
        r"per cent",
        r"\bdegrees?\b(?! of protection)",
        r"square metre",
        r"\bg/m2\b",
        r"\bum\b",
        r"least margin",
        r"\btaken\b",
        r"\basked\b",
        r"mostly",
        r"give or take",
        r"square on",
        r"\blean",
        r"promising",
        r"will work",
        r"\bgauge\b(?! number)",
        r"caliper\b",
        r"bypass",
        r"two as one",
        r"one as two",
        r"sheets? reads? (from|up|down)",
        r"weaken",
        r"held air",
        r"unplaced",
        r"outranked",
        r"rejected",
        r"shall\b",
    ),
    "de": (
        r"\bIndex\b",
        r"\bGrad\b",
        r"Prozent",
        r"Quadratmeter",
        r"\bg/m2\b",
        r"kleinster? Abstand beträgt \{margin",
        r"\bSpalt\b",
        r"schwäch",
        r"Fehllesung",
        r"\bAufbau \{",
        r"Abgleich",
        r"Umgehung",
        r"\bBoden\b",
        r"liest sich",
        r"Bogen liest",
        r"taugt",
        r"\bBand\b",
        r"Anfrage",
        r"Fläche[n]? stehen",
        r"Doppelter",
    ),
}
"""What the glossary does not use, as it would stand in a text."""


def said() -> Iterator[tuple[str, Language, str]]:
    """Every text with its code or name."""
    for code, text in texts().items():
        yield from ((code, language, text.templates[language]) for language in LANGUAGES)
    for word, by_language in words().items():
        yield from ((word, language, by_language[language]) for language in LANGUAGES)
    for table in ("fields.toml", "sheets.toml"):
        for name, entry in load_table(MESSAGES, table).items():
            yield from ((name, language, entry[language]) for language in LANGUAGES)


SAID = list(said())


@pytest.mark.parametrize("code", sorted(texts()))
def test_both_languages_say_the_same(code: str) -> None:
    text = texts()[code]
    assert text.kind in KINDS
    assert re.fullmatch(r"[a-z][a-z-]*[a-z]", code)
    assert text.placeholders("en") == text.placeholders("de")
    for language in LANGUAGES:
        assert text.templates[language].endswith(".")


@pytest.mark.parametrize("code", sorted(texts()))
def test_texts_state_no_number_of_their_own(code: str) -> None:
    for language in LANGUAGES:
        # The number of a standard is its name; a share of doubles, readings or jobs is what the figure beside it means.
        own = re.sub(r"\{[^}]*\}|\bISO \d+(-\d+)?|\b9[05] %", "", texts()[code].templates[language])
        assert not re.search(r"\d", own)


@pytest.mark.parametrize("code", sorted(texts()))
def test_every_figure_has_its_unit(code: str) -> None:
    for name in texts()[code].placeholders("en"):
        assert figure_of(name) or name in COUNTS | NAMES | DERIVED.keys(), name


@pytest.mark.parametrize("code", sorted(texts()))
def test_no_index_and_no_pointer_is_told(code: str) -> None:
    assert not texts()[code].placeholders("en") & {"pointer", "sheet", "setup", "index", "number", "reading"}


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_uses_what_the_glossary_avoids(language: Language) -> None:
    found = [
        (name, pattern)
        for name, spoken, text in SAID
        if spoken == language
        for pattern in AVOIDED[language]
        if re.search(pattern, text)
    ]
    # The unit `pt` is called caliper: thousandths of an inch.
    assert [one for one in found if one[0] != "caliper_pt"] == []


def test_sentences_are_short() -> None:
    """No sentence of an English text has more than 25 words; placeholders count as one."""
    long = [
        (code, len(sentence.split()))
        for code, text in texts().items()
        for sentence in re.split(r"(?<=[.;:]) ", text.templates["en"])
        if len(re.sub(r"\{[^}]*\}", "x", sentence).split()) > 25
    ]
    assert long == []


def test_principles_have_names_in_both_languages() -> None:
    for principle in principles().values():
        table = load_table(principle.folder, "texts.toml")
        for entry in (*table["names"].values(), *table["detectors"].values()):
            assert set(entry) == set(LANGUAGES)


@pytest.mark.parametrize(("material", "thickness_um", "noun"), [("steel", 800, "lech"), ("glass", 3000, "latte")])
def test_no_german_text_of_metal_or_plates_has_bogen(material: str, thickness_um: float, noun: str) -> None:
    reader = Reader(language="de", sheets=[sheet_of(material, thickness_um=thickness_um)])
    for name, language, text in SAID:
        if language == "de" and "bogen" in text.lower():
            instead = reader.in_trade_words(text)
            assert "bogen" not in instead.lower(), name
            assert noun in instead or "Flattern" in instead, name


def test_every_source_has_its_german() -> None:
    """Of the library, of the defaults and of each principle's facts."""
    known = {*library_sources().values(), GIVEN, SHEFFIELD_SOURCE, CORRUGATED_SOURCE}
    known |= {source for defaults in (DEFAULTS, CONTROLLER, SHEETS) for _, source in defaults.values()}
    known |= set(re.findall(r'source="([^"]{20,})"', Path(facts.__file__).read_text(encoding="utf-8")))
    assert known - load_sources().keys() == set()
    for english in known:
        assert source_told(f"{english}; {english}", "de") == f"{load_sources()[english]}; {load_sources()[english]}"
        assert source_told(english, "en") == english
