"""The printable set-up sheet: one page for whoever mounts, aligns and tries the pair."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal, get_args

from markupsafe import Markup

from sheetmargin_service.web.drawing import draw
from sheetmargin_service.web.ladder import ladder, written_unit
from sheetmargin_service.web.pages import environment
from sheetmargin_service.web.words import Words

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = get_args(Paper)

MOST_SHEETS = 3
"""Sheets whose readings have room on the page: those with the least margin; the page says how many there are."""

LETTERS_A_LINE = 68
LINES_A_READING = 2.2
"""Of a column, by the style sheet's sizes; near enough to balance two columns."""
LINE = ("too-fast", "maybe-too-fast", "pitch-must-hold", "beam-over-edge")
"""Reasons by which the line lowers a verdict: they stand at the head of the page."""
ABOUT_THE_JOB = ("not-given", "pitch-not-used")
"""Notes on times that whoever mounts the pair can do nothing about."""
MOST_FOUND_OUT = 2
"""Inputs to find out that have room on the sheet."""
ON_THE_PAGE = ("read-levels", "accept-levels", "read-stream-levels", "accept-stream-levels")
"""Steps of a trial that the table and the last step of commissioning already are."""


@dataclass(frozen=True, kw_only=True)
class Versions:
    """What figures depend on beside the job."""

    model: str
    catalogue: str

    @property
    def mark(self) -> str:
        """As a link carries it."""
        return f"{self.model}.{self.catalogue}"


@dataclass(frozen=True, kw_only=True)
class Links:
    """Addresses on the page. `again` regenerates it; None where the job is too long for a link."""

    again: str | None
    pdf: str | None = None
    other_paper: str | None = None


@dataclass(frozen=True, kw_only=True)
class Checklist:
    """Things to do and tick; without a title it goes on from the column before."""

    title: str | None
    items: Sequence[str]


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A row of the table of readings."""

    state: str
    sheet: str | None
    expected: float
    low: float
    high: float


def render(
    answer: Mapping[str, Any],
    *,
    recommendation: Mapping[str, Any],
    setup: Mapping[str, Any],
    words: Words,
    paper: Paper,
    made_with: Versions | None,
    build: str,
    links: Links,
    style: str | None = None,
) -> str:
    """HTML of one set-up of a recommendation of the answer; all three as they go over the wire.

    `made_with` are the versions that the reader's link was made with; `style` is put
    into the page where it cannot be fetched.
    """
    served = sorted((s for s in recommendation["sheets"] if s["setup"] == setup["index"]), key=_least_margin)
    mounting, band = setup["mounting"], [setup["profile"]["band"][edge] for edge in ("low", "high")]
    unit = written_unit(served[0]["signal"]["unit"])
    today = Versions(model=answer["model_version"], catalogue=answer["catalogue_version"])
    label = partial(_label, answer=answer, words=words)
    steps = list(_steps(setup, open_path=served[0]["signal"]["no_sheet"], band=band, unit=unit, words=words))
    readings = list(_readings(served[:MOST_SHEETS], label=label, words=words))
    return (
        environment()
        .get_template("setup-sheet.html")
        .render(
            words=words,
            paper=paper,
            style=Markup(style) if style is not None else None,
            answer=answer,
            recommendation=recommendation,
            setup=setup,
            late=[
                reason["text"]
                for reason in recommendation["reasons"]
                if reason["code"] in (*LINE, recommendation["limited_by"])
                and reason["values"].get("setup", setup["index"]) == setup["index"]
            ],
            sheets=[f"{label(i)}: {_described(answer['sheets'][i], words)}" for i in setup["sheets"]],
            not_served=[f"{label(one['index'])}: {one['text']}" for one in recommendation["not_served"]],
            others=list(_others(recommendation, setup, label=label, words=words)),
            band=band,
            unit=unit,
            drawing=Markup(draw(mounting=mounting, geometry=setup["geometry"], words=words)) if mounting else None,
            ladder_title=words("ladder", sheet=label(served[0]["index"])),
            ladder=Markup(ladder(signal=served[0]["signal"], margin=served[0]["margin"], band=band, words=words)),
            columns=columns(
                [
                    Checklist(title=words("steps"), items=steps),
                    Checklist(title=words("trial-plan"), items=_trial(answer, recommendation, setup)),
                    *_found_out(answer, recommendation, words=words),
                ],
                lines_above=LINES_A_READING * len(readings),
            ),
            readings=readings,
            served=len(served),
            shown=min(len(served), MOST_SHEETS),
            today=today,
            made_with=made_with if made_with is not None and made_with != today else None,
            build=build,
            links=links,
        )
    )


def columns(lists: Sequence[Checklist], *, lines_above: float) -> tuple[list[Checklist], list[Checklist]]:
    """The lists in order over two columns of about one height, the left one below `lines_above` other lines.

    Split here and not by the renderer: not all of them balance columns.
    """
    heights = [[1 + len(item) // LETTERS_A_LINE for item in checklist.items] for checklist in lists]
    total = lines_above + sum(1 + sum(lines) for lines in heights)
    used = lines_above
    left: list[Checklist] = []
    right: list[Checklist] = []
    for checklist, lines in zip(lists, heights, strict=True):
        used += 1
        count = 0
        while count < len(lines) and used + lines[count] <= total / 2:
            used += lines[count]
            count += 1
        if count:
            left.append(Checklist(title=checklist.title, items=checklist.items[:count]))
        if count < len(lines):
            used = total  # what follows goes to the right
            right.append(Checklist(title=None if count else checklist.title, items=checklist.items[count:]))
    return left, right


def _trial(answer: Mapping[str, Any], recommendation: Mapping[str, Any], setup: Mapping[str, Any]) -> list[str]:
    """The steps of the trial, of the recommendation ranked first, that are this set-up's or every one's."""
    own = setup["index"] if recommendation["rank"] == 1 else None
    return [
        note["text"]
        for note in answer["trial"]
        if note["code"] not in ON_THE_PAGE and note["values"].get("setup", own) == own
    ]


def _found_out(answer: Mapping[str, Any], recommendation: Mapping[str, Any], *, words: Words) -> Iterator[Checklist]:
    """What to find out next, of the recommendation ranked first: what moves the chance most."""
    items = [one["text"] for one in answer.get("find_out", ())[:MOST_FOUND_OUT]]
    if items and recommendation["rank"] == 1:
        yield Checklist(title=words("find-out"), items=items)


def _others(
    recommendation: Mapping[str, Any], setup: Mapping[str, Any], *, label: Callable[[int], str], words: Words
) -> Iterator[str]:
    """Which sheets the other set-ups serve, and what is changed between them."""
    for other in recommendation["setups"]:
        if other["index"] != setup["index"]:
            yield words("other", n=other["index"] + 1, sheets=", ".join(map(label, other["sheets"])))
    changes = [words(f"change-{what}", n=n) for what, n in recommendation["changeovers"].items() if n]
    if changes:
        yield words("change-overs", changes=", ".join(changes))


def _least_margin(sheet: Mapping[str, Any]) -> float:
    margin: float = min(sheet["margin"].values())
    return margin


def _label(index: int, *, answer: Mapping[str, Any], words: Words) -> str:
    label: str | None = answer["sheets"][index]["label"]
    return label or words("sheet", n=index + 1)


def _described(sheet: Mapping[str, Any], words: Words) -> str:
    grammage, thickness = words.number(sheet["grammage_gsm"]), words.number(sheet["thickness_um"])
    return f"{sheet['material']}, {grammage} g/m², {thickness} µm"


def _steps(
    setup: Mapping[str, Any], *, open_path: Mapping[str, float], band: Sequence[int], unit: str, words: Words
) -> Iterator[str]:
    """What to do, in order; the answer's own alignment steps where it has them."""
    mounting, alignment, hold = setup["mounting"], setup["alignment"], setup["profile"]["hold_ms"]
    if mounting is None:
        yield words("step-mount-bare")
    else:
        mount = words("step-mount", below=mounting["emitter_to_sheet_mm"], above=mounting["receiver_to_sheet_mm"])
        bracket = mounting["bracket"]
        if bracket["hole_mm"] is not None:
            mount += " " + words("step-thread", thread=bracket["thread"], hole=bracket["hole_mm"])
        yield mount
        yield from (note["text"] for note in mounting["notes"])
    if alignment is None:
        yield words("step-align-bare", low=open_path["p1"], high=open_path["p99"], unit=unit)
    else:
        yield from (note["text"] for note in alignment["steps"])
    timing = setup["timing"]
    yield from (note["text"] for note in (timing["notes"] if timing else ()) if note["code"] not in ABOUT_THE_JOB)
    yield words("step-read")
    places = {"low": band[0], "high": band[1], "unit": unit}
    yield words("step-set", **places) if hold is None else words("step-set-hold", hold=hold, **places)
    yield words("step-accept", **places)


def _readings(served: Sequence[Mapping[str, Any]], *, label: Callable[[int], str], words: Words) -> Iterator[Reading]:
    for position, sheet in enumerate(served):
        states = ("no_sheet", "single", "double") if position == 0 else ("single", "double")
        for state in states:
            spread = sheet["signal"][state]
            yield Reading(
                state=words(state),
                sheet=label(sheet["index"]) if len(served) > 1 and state != "no_sheet" else None,
                expected=spread["p50"],
                low=spread["p1"],
                high=spread["p99"],
            )
