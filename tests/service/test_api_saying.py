"""Texts: every code of the service has one in every language, and none states a number that it was not given."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
import sheetmargin_service
from sheetmargin_service.messages.languages import LANGUAGES, Language
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.say import TextWarning, say, texts

PACKAGE = Path(sheetmargin_service.__file__).parent
NOTES = {"Note", "Fact", "Assumption", "RuledOut", "NotServed"}


def codes_in(tree: ast.AST) -> Iterator[str]:
    """Codes written out where notes are made."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in NOTES:
            for keyword in node.keywords:
                if keyword.arg == "code" and isinstance(keyword.value, ast.Constant):
                    yield keyword.value.value


SPOKEN = sorted({
    code
    for layer in ("materials", "principles", "mounting", "selection", "measurement")
    for file in (PACKAGE / layer).rglob("*.py")
    for code in codes_in(ast.parse(file.read_text(encoding="utf-8")))
})  # fmt: skip


def test_codes_are_found_in_the_sources() -> None:
    assert {"limiting-margin", "default", "material-typical"} <= set(SPOKEN)


@pytest.mark.parametrize("code", SPOKEN)
def test_every_code_has_a_text(code: str) -> None:
    assert code in texts()


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_text_with_its_values(language: Language) -> None:
    said = say("default", {"value": 1.5}, reader=Reader(language=language), pointer="/line/flutter_mm")
    expected = {
        "en": "Flutter (height, ±) not given; 1.5 mm assumed.",
        "de": "Bogenflattern (Höhe, ±) nicht angegeben; angenommen: 1,5 mm.",
    }
    assert said == expected[language]


def test_an_unknown_code_warns_and_is_said_as_it_is() -> None:
    with pytest.warns(TextWarning, match="no-such-code"):
        assert say("no-such-code", {}, reader=Reader(language="en")) == "no-such-code"


def test_a_missing_value_warns_and_the_code_is_said() -> None:
    with pytest.warns(TextWarning, match="value"):
        assert say("default", {}, reader=Reader(language="en")) == "default"
