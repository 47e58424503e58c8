"""The short answer to the twenty jobs of common practice and to long lists: on one screen, in both languages."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from service.test_twenty_jobs import PRACTICE
from sheetmargin import Answer, Job
from sheetmargin.cli.names import named_input
from sheetmargin.decode import decode
from sheetmargin.report.page import Page
from sheetmargin.report.render import SECTIONS, render
from sheetmargin.report.view import View
from sheetmargin_service.api.encode import encode
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend

ONE_SHEET, TEN_SHEETS = 25, 35
PAPERS = [{"material": "coated-paper", "grammage_gsm": gsm} for gsm in (60, 80, 100, 115, 135, 150, 170, 200, 250, 300)]
MIXED = [
    {"material": "pet", "thickness_um": 50},
    {"material": "tissue", "grammage_gsm": 18},
    {"material": "aluminium", "thickness_um": 280},
    {"material": "copy-paper", "grammage_gsm": 80, "label": "inner"},
    {"material": "coated-board", "grammage_gsm": 300, "label": "a cover with a rather long name"},
    {"material": "steel", "thickness_um": 800},
    {"material": "bopp", "thickness_um": 20},
    {"material": "greyboard", "grammage_gsm": 1200},
    {"material": "leather", "thickness_um": 1200},
    {"material": "veneer", "thickness_um": 600},
]
NOTHING = {
    "sheets": [{"material": "copy-paper", "grammage_gsm": 80}],
    "principles": ["eddy-current", "eddy-current-one-sided"],
}
JOBS: dict[str, dict[str, Any]] = {one.name: one.job for one in PRACTICE}
JOBS |= {"ten papers": {"sheets": PAPERS}, "ten of everything": {"sheets": MIXED}, "nothing serves": NOTHING}
ENGLISH = (
    r"\b(?:sheets?|gap|tilt|margin|reading|target|suitable|trial|chance|band|missed|doubles?|expected|usable|class)\b"
)
PROSE_FAULTS = (
    r"\bindex\b",
    r"/(?:line|sheets|targets)/",
    r"\bNone\b(?! of the)",
    r"-0(?:[.,]0)?(?![\d.,])",
    r"\d\.\d+e[+-]?\d",
    r"\d um\b",
    r"g/m2",
)


@cache
def answers(name: str) -> dict[str, Answer]:
    """The answer in each language, computed once."""
    found = recommend(decode(Job, JOBS[name]), catalogue=reference_catalogue(), library=load_library())
    return {language: decode(Answer, encode(found, language=language)) for language in ("en", "de")}


def view(**page: Any) -> View:
    def next_step(section: str) -> str:
        return f"sheetmargin recommend ... --show {section}   (all sections: --explain)"

    return View(page=Page(**page), name_input=named_input, next_step=next_step)


def short(name: str) -> Iterator[tuple[str, str]]:
    for language, answer in answers(name).items():
        yield language, render(answer, view())


@pytest.mark.parametrize("name", JOBS)
def test_an_answer_is_on_one_screen(name: str) -> None:
    sheets = len(JOBS[name]["sheets"])
    for language, text in short(name):
        lines = text.splitlines()
        assert len(lines) <= (ONE_SHEET if sheets == 1 else TEN_SHEETS), (language, text)
        assert max(map(len, lines)) <= 100, (language, text)


@pytest.mark.parametrize("name", JOBS)
def test_an_answer_is_in_words(name: str) -> None:
    """No index, no pointer, no number that nobody can set, no unit that is written otherwise."""
    for _, text in short(name):
        for fault in PROSE_FAULTS:
            assert not re.search(fault, text), (fault, text)


@pytest.mark.parametrize("name", JOBS)
def test_a_german_answer_has_no_english_words(name: str) -> None:
    text = dict(short(name))["de"].replace("a cover with a rather long name", "")
    # What is typed stays as it is typed, and so do ids of classes.
    text = re.sub(
        r"sheetmargin .*|--[\w-]+|[a-z_]+(?:\.[a-z_]+)+|\w+(?:-\w+)*-\d+\w*(?:-[a-z]+)*|[a-z]+-(?:laser|roller)",
        "",
        text,
    )
    assert not re.search(ENGLISH, text), text
    assert not re.search(r"\d\.\d\b", text), text


@pytest.mark.parametrize("name", JOBS)
def test_the_order_is_that_of_the_questions(name: str) -> None:
    """Verdict, what to set, what is read, how sure, what next, and what it is not for."""
    text = dict(short(name))["en"]
    answer = answers(name)["en"]
    parts = ["SUITABLE" if answer.verdict != "trial-needed" else "TRIAL NEEDED"]
    if answer.best:
        parts += ["Gap" if len(answer.sheets) == 1 else "set the band to", "98 % of readings", "Chance", "Next"]
        parts = [part for part in parts if len(answer.sheets) == 1 or part != "98 % of readings"]
    else:
        parts += ["Principle", "Nothing was found to mount."]
    places = [text.index(part) for part in [*parts, "Estimated from typical data."]]
    assert places == sorted(places)


@pytest.mark.parametrize("name", ["ten of everything", "nothing serves", PRACTICE[0].name])
def test_everything_else_is_in_the_sections(name: str) -> None:
    for answer in answers(name).values():
        told = render(answer, view(), show=SECTIONS[Answer])
        assert max(map(len, told.splitlines())) <= 100
        flat = re.sub(r"\s+", " ", told)
        texts = [one.text for one in (*answer.trial, *answer.assumptions, *answer.cautions, *answer.alternatives)]
        texts += [one.text for one in answer.ruled_out] + [
            one.text for one in (answer.best.reasons if answer.best else ())
        ]
        missing = [text for text in texts if len(text) < 40 and re.sub(r"\s+", " ", text) not in flat]
        assert not missing
