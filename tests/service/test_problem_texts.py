"""Problems in the language of the request: every English text of one has its German, with the same values."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest
import sheetmargin_service
from flask.testing import FlaskClient
from sheetmargin_service.api.problems import PROBLEM_TYPES
from sheetmargin_service.errors import Filled
from sheetmargin_service.messages.problem_texts import german_texts, in_language

PACKAGE = Path(sheetmargin_service.__file__).parent
NAMES = {"detail", "expected"}
CALLS = {"Filled": 0, "refuse": 1, "_unauthorized": 0, "_unavailable": 0, "_unsupported": 1}
"""Calls with a text, and which of their arguments it is."""
OPERATORS = {"catalogue_entry.py", "worker.py"}
"""Files whose texts are for who runs the service, or are sent before a request is read."""


def constants(node: ast.expr) -> Iterator[str]:
    """The texts that an expression may be."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from constants(node.body)
        yield from constants(node.orelse)


def texts_in(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if (isinstance(node, ast.keyword) and node.arg in NAMES) or (
            isinstance(node, ast.Assign)
            and any(getattr(target, "id", getattr(target, "attr", "")) in NAMES for target in node.targets)
        ):
            yield from constants(node.value)
        elif isinstance(node, ast.Call):
            place = CALLS.get(getattr(node.func, "id", getattr(node.func, "attr", "")))
            if place is not None and len(node.args) > place:
                yield from constants(node.args[place])


ENGLISH = sorted({
    text
    for file in PACKAGE.rglob("*.py")
    if file.name not in OPERATORS
    for text in texts_in(ast.parse(file.read_text(encoding="utf-8")))
})  # fmt: skip


def places(template: str) -> list[tuple[str, str]]:
    return sorted((name, form or "") for _, name, form, _ in Formatter().parse(template) if name is not None)


def test_texts_are_found() -> None:
    assert {"Enter a material.", "one of {names}"} <= set(ENGLISH)


@pytest.mark.parametrize("english", ENGLISH)
def test_every_text_has_its_german(english: str) -> None:
    german = german_texts()[english]
    assert places(german) == places(english)
    assert german.endswith(".") == english.endswith(".")


@pytest.mark.parametrize("kind", sorted(PROBLEM_TYPES))
def test_every_kind_has_its_german(kind: str) -> None:
    assert {PROBLEM_TYPES[kind].title, PROBLEM_TYPES[kind].meaning} <= german_texts().keys()


@pytest.mark.parametrize("english", [*ENGLISH, *(kind.title for kind in PROBLEM_TYPES.values())])
def test_no_text_tells_what_there_is_not(english: str) -> None:
    assert not re.search(r"There is no|things are wrong|cannot be answered|\bis no\b|per cent|\bum\b|g/m2", english)


def test_values_are_written_as_the_language_does() -> None:
    english = Filled("{low:g} to {high:g} µm", low=12.5, high=40.0)
    assert english == "12.5 to 40 µm"
    assert in_language(english, "de") == "12,5 bis 40 µm"
    name = Filled(
        "Enter a grammage or a thickness for {material}.", material={"en": "copy paper", "de": "Kopierpapier"}
    )
    assert name == "Enter a grammage or a thickness for copy paper."
    assert in_language(name, "de") == "Für Kopierpapier eine flächenbezogene Masse oder eine Dicke eingeben."


def test_bounds_are_translated_by_their_parts() -> None:
    english = Filled("a whole number at least {ge:g} and at most {le:g}", gt=None, ge=1, lt=None, le=100)
    assert in_language(english, "de") == "eine ganze Zahl mindestens 1 und höchstens 100"


def test_a_german_request_gets_a_german_problem(api: FlaskClient) -> None:
    job = {"sheets": [{"material": "copy-paper"}]}
    response = api.post("/v1/recommendations", json=job, headers={"Accept-Language": "de"})
    problem = response.get_json()
    assert response.headers["Content-Language"] == "de"
    assert problem["title"] == "Eingaben prüfen"
    assert problem["errors"][0]["detail"] == "Für Kopierpapier eine flächenbezogene Masse oder eine Dicke eingeben."
    assert problem["errors"][0]["expected"] == "eine flächenbezogene Masse oder eine Dicke"
    english = api.post("/v1/recommendations", json=job).get_json()
    assert english["errors"][0]["detail"] == "Enter a grammage or a thickness for copy paper."


def test_the_query_asks_for_a_language_too(api: FlaskClient) -> None:
    problem = api.get("/v1/recommendations?material=copy-paper&language=de").get_json()
    assert problem["title"] == "Eingaben prüfen"
