"""The words of reports and of the command: in both languages, with the same places, none that is banned."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from string import Formatter

import pytest
import sheetmargin
from sheetmargin.report.figures import Figures
from sheetmargin.report.words import LANGUAGES, Words

TABLE: Mapping[str, Mapping[str, str]] = tomllib.loads(
    (Path(sheetmargin.__file__).parent / "report" / "words.toml").read_text(encoding="utf-8")
)
BANNED = {
    "en": r"\b(will work|promising|give or take|per cent|no safety|um|g/m2|least margin|profile|admitted)\b",
    "de": r"\b(taugt|geht laut|Spalt|Aufbau|Prozent|Fehllesung\w*|um \d|liest)\b",
}


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


@pytest.mark.parametrize("name", TABLE)
def test_a_text_is_in_both_languages_with_the_same_places(name: str) -> None:
    told = TABLE[name]
    assert set(told) == set(LANGUAGES)
    assert places(told["en"]) == places(told["de"])
    for language, pattern in BANNED.items():
        assert not re.search(pattern, told[language]), told[language]


def test_a_value_without_a_word_is_told_as_it_is() -> None:
    assert Words(language="de").of("verdict", "suitable") == "geeignet"
    assert Words(language="de").of("verdict", "of-a-later-service") == "of-a-later-service"


@pytest.mark.parametrize(
    ("told", "en", "de"),
    [
        (lambda f: f.level(46.6), "47", "47"),
        (lambda f: f.level(0.94), "0.9", "0,9"),
        (lambda f: f.level(9.96), "10", "10"),
        (lambda f: f.level(-0.04), "0", "0"),
        (lambda f: f.levels(-3.5, 1141.2, "fF"), "-3.5 to 1,141 fF", "-3,5 bis 1.141 fF"),
        (lambda f: f.thickness(102.6), "103 µm", "103 µm"),
        (lambda f: f.thickness(1500.1), "1.5 mm", "1,5 mm"),
        (lambda f: f.grammage(11775.0), "11,800 g/m²", "11.800 g/m²"),
        (lambda f: f.gap(23.5), "23.5", "23,5"),
        (lambda f: f.gap(110.3), "110", "110"),
        (lambda f: f.rate(0.4), "1 per million or fewer", "höchstens 1 je Million"),
        (lambda f: f.rate(22.4), "22 per million", "22 je Million"),
        (lambda f: f.rate(17_300), "1.7 %", "1,7 %"),
        (lambda f: f.rates(1, 1, 1), "1 per million or fewer", "höchstens 1 je Million"),
        (lambda f: f.rates(20, 11, 6600), "about 20 per million (11 to 6,600)", "etwa 20 je Million (11 bis 6.600)"),
        (lambda f: f.rates(17_000, 2_000, 66_000), "about 1.7 % (0.2 to 6.6 %)", "etwa 1,7 % (0,2 bis 6,6 %)"),
        (lambda f: f.target(1000), "1,000", "1.000"),
        (lambda f: f.speed(266.0), "up to 260 m/min", "höchstens 260 m/min"),
        (lambda f: f.speed(7500.0), "not limited by the detector", "vom Detektor nicht begrenzt"),
        (lambda f: f.chance(0.998), "> 99 %", "> 99 %"),
        (lambda f: f.chance(0.966), "97 %", "97 %"),
        (lambda f: f.significant(29_956, 2), "30,000", "30.000"),
        (lambda f: f.unit("um/(Pa s)"), "µm/(Pa s)", "µm/(Pa s)"),
    ],
)  # fmt: skip
def test_a_figure_has_the_digits_that_can_be_set_or_measured(told: object, en: str, de: str) -> None:
    assert [told(Figures(words=Words(language=language))) for language in LANGUAGES] == [en, de]  # type: ignore[operator]
