"""Any answer that a person reads: short, or by its sections; as a table of plain values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from sheetmargin.contract.answer import Answer, Comparison
from sheetmargin.contract.measure import Diagnosis, Fit, Prediction
from sheetmargin.report import sections
from sheetmargin.report.answer import short_answer
from sheetmargin.report.compared import short_comparison
from sheetmargin.report.fitted import residual_rows, short_fit
from sheetmargin.report.installed import causes_of, short_diagnosis, short_prediction
from sheetmargin.report.view import View

Section = Callable[[Any, View], list[list[str]]]
SHORT: Mapping[type, Callable[[Any, View], str]] = {
    Answer: short_answer,
    Comparison: short_comparison,
    Prediction: short_prediction,
    Fit: short_fit,
    Diagnosis: short_diagnosis,
}
SECTIONS: Mapping[type, Mapping[str, Section]] = {
    Answer: sections.SECTIONS,
    Comparison: {},
    Prediction: {
        "why": lambda told, view: [_bullets("title.why", told.predicted.reasons, view)],
        "mounting": lambda told, view: sections.mounting(told.predicted, view),
        "assumptions": lambda told, view: sections.assumptions(told.assumptions, view),
    },
    Fit: {
        "numbers": lambda told, view: [
            view.section(view.words("readings"), view.page.table(residual_rows(told, view), head=True))
        ],
        "trial": lambda told, view: sections.SECTIONS["trial"](told.fitted, view),
        "assumptions": lambda told, view: sections.assumptions(told.fitted.assumptions, view),
    },
    Diagnosis: {
        "why": lambda told, view: [view.section(view.words("causes"), causes_of(told, view))],
        "assumptions": lambda told, view: sections.assumptions(told.assumptions, view),
    },
}
"""Of each kind of answer, by the words that ask for them, in the order in which they are shown."""


def written(answer: object) -> str:
    """The short answer, as a terminal of 100 columns shows it."""
    sections = SECTIONS[type(answer)]
    return render(answer, View(next_step=lambda name: f'answer.explain("{name}")' if name in sections else ""))


def explained(answer: object, sections: tuple[str, ...]) -> str:
    """The sections of these names; all of them if none is named."""
    known = SECTIONS[type(answer)]
    if unknown := [name for name in sections if name not in known]:
        raise ValueError(f"There is no section {unknown[0]!r}; there are {', '.join(known)}.")
    return render(answer, View(), show=sections or known)


def render(answer: object, view: View, *, show: Iterable[str] = ()) -> str:
    """The short answer; with `show` the sections of these names in its place."""
    wanted = set(show)
    if not wanted:
        return SHORT[type(answer)](answer, view)
    told: Any = answer
    read = told.fitted if isinstance(answer, Fit) else told
    view = view.reading(read)
    found = [section(answer, view) for name, section in SECTIONS[type(answer)].items() if name in wanted]
    return view.joined(
        *(block for blocks in found for block in blocks), _bullets("title.cautions", read.cautions, view)
    )


def _bullets(title: str, notes: Iterable[object], view: View) -> list[str]:
    return view.section(view.words(title), view.page.bullets(map(str, notes)))
