"""The verdict, what is not known, what to find out and do next, and what a detector is not for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sheetmargin.contract.answer import (
    Answer,
    Finding,
    FindOut,
    Recommendation,
    Setup,
)
from sheetmargin.contract.notes import Note
from sheetmargin.report.page import LABEL
from sheetmargin.report.view import View

LEVEL_UNITS = ("dB", "fF")
TOPICS = {
    "clearance": ("/line/clearance_above_mm", "/line/clearance_below_mm"),
    "edge": ("/line/edge_distance_mm",),
    "speed": ("/line/speed_m_per_min", "/line/sheet_length_mm", "/line/sheet_spacing_mm", "/line/shingle_pitch_mm"),
}
"""What stays unchecked without an input, by the inputs that it needs; of the line's speed the first one missing is
asked for."""
LINE = ("too-fast", "maybe-too-fast", "pitch-must-hold", "beam-over-edge", "edge-in-reach")
"""Codes of the reasons by which the line lowers a verdict."""
SAFETY = ("not-a-safety-device", "isolate-before-work")
"""Codes of the cautions that stand below every answer, in the words that every channel has them."""


def verdict_line(verdict: str, text: str, view: View) -> list[str]:
    """The verdict in capitals, and what it is about."""
    word = view.page.plain(view.words.of("verdict", verdict).upper())
    first, *rest = view.page.wrap(text, first=" " * max(LABEL, len(word) + 2)) or [""]
    return [(view.page.verdict(word, verdict) + first[len(word) :]).rstrip(), *rest]


def unchecked(setups: Iterable[Setup], view: View) -> list[str]:
    """What was not checked for want of an input, and the inputs that would let it be."""
    notes = [note for one in setups for part in (one.mounting, one.timing) if part is not None for note in part.notes]
    unknown = {str(note.values["pointer"]) for note in notes if "pointer" in note.values}
    topics = {topic: [pointer for pointer in needed if pointer in unknown] for topic, needed in TOPICS.items()}
    topics["speed"] = topics["speed"][:1]
    names = [view.name_input(pointer) for needed in topics.values() for pointer in needed]
    if not names:
        return []
    what = ", ".join(view.words(f"topic.{topic}") for topic, needed in topics.items() if needed)
    return view.page.labelled(
        view.words("not-checked"), view.words("not-checked-text", what=what, inputs=", ".join(names)), indent=LABEL
    )


def found_out(one: FindOut, view: View, *, verdict: str | None = None) -> str:
    """What to find out, what each finding would make of the set-up ranked first, and where it is entered. With
    `verdict`, only the findings that would change it."""
    told = [finding for finding in one.findings if finding.verdict != verdict]
    findings = "; ".join(_finding(finding, one.unit, view) for finding in told)
    text = f"{one} {findings[:1].upper()}{findings[1:]}." if findings else str(one)
    inputs = " ".join(dict.fromkeys(map(view.name_input, one.pointers)))
    return f"{text} {view.words('enter', inputs=inputs)}" if inputs else text


def _finding(finding: Finding, unit: str | None, view: View) -> str:
    words, figures = view.words, view.figures
    low, high = (None if end is None else _end(end, unit, view) for end in (finding.low, finding.high))
    named = figures.unit(unit or "")
    if finding.answer is not None:
        where = words(f"finding.{finding.answer}")
    elif low is None:
        where = words("finding.up-to", value=figures.range(high or "", high or "", named))
    elif high is None:
        where = words("finding.above", value=figures.range(low, low, named))
    else:
        where = figures.range(low, high, named)
    return words("finding", where=where, verdict=words.of("verdict", finding.verdict))


def _end(value: float, unit: str | None, view: View) -> str:
    return view.figures.level(value) if unit in LEVEL_UNITS else view.figures.significant(value, 3)


def found_out_lines(answer: Answer, view: View, *, room: int) -> list[str]:
    """What to find out next, as many as there is room for."""
    lines: list[str] = []
    verdict = answer.best.verdict if answer.best else answer.verdict
    for one in answer.find_out:
        label = "" if lines else view.words("find-out")
        told = view.page.labelled(label, found_out(one, view, verdict=verdict), indent=LABEL)
        if len(lines) + len(told) > room:
            break
        lines += told
    return lines


def next_line(section: str, view: View) -> list[str]:
    """Which section to ask for next."""
    step = view.next_step(section)
    return view.page.labelled(view.words("next"), step, indent=LABEL) if step else []


def lowered_by(one: Recommendation, view: View) -> list[str]:
    """The reason that makes a verdict worse than the chance alone would; of several set-ups the first one's."""
    told = [why.text for why in one.reasons if why.code in LINE or why.code == one.limited_by]
    more = f" ({view.words.counted('and-more', len(told) - 1)})" if len(told) > 1 else ""
    return [line for text in told[:1] for line in view.page.wrap(f"{text}{more}")]


def safety(cautions: Sequence[Note], view: View) -> list[str]:
    told = [str(one) for one in cautions if one.code in SAFETY]
    return view.page.wrap(" ".join([view.words("estimated"), *told]))


def texts(notes: Sequence[Note]) -> list[str]:
    return [str(note) for note in notes]
