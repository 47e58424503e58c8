"""The printable set-up sheet: one page for whoever mounts, aligns and sets the detector."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import segno
from markupsafe import Markup
from sheetmargin.contract.job import Paper

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.messages.quantities import FIELD_UNITS
from sheetmargin_service.web.drawing import HEIGHT, LOW, LOWEST, Arrangement, arrangement_of, draw
from sheetmargin_service.web.one_page import Block, in_two_columns, lines_of
from sheetmargin_service.web.pages import environment
from sheetmargin_service.web.setup_steps import facts, steps, trial
from sheetmargin_service.web.words import Words

LINES: Mapping[Paper, float] = {"a4": 72.5, "letter": 69.4}
"""Lines of a page at 9 pt, by the style sheet."""
HEAD, FOOT, DRAWING_SPACE, READINGS, ROW, BOX = 12.8, 9.4, 1.7, 7.7, 1.6, 1.2
"""Lines of what stands on every sheet above and below the columns, and of what stands in them or across."""
POINTS_A_LINE = 10.8
LETTERS_ACROSS, LETTERS_OF_REFERENCE = 112, 26
MOST_ROWS = 12
"""Sheets in the table of the first page; more go on a second one."""
ON_THE_PLATE = "illustrative-class"
"""A caution that stands beside the class's id."""
LINE = ("too-fast", "maybe-too-fast", "pitch-must-hold", "beam-over-edge", "edge-in-reach")
"""Reasons by which the line lowers a verdict: they stand at the head of the page."""
MOST_FOUND_OUT = 2
"""Inputs to find out that have room on the sheet."""
LONGEST_SCANNED = 1000
"""Characters of an address in a code that a telephone reads from paper."""


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
    """Addresses on the page. `again` regenerates it; None where the job is too long for a link, and `digest` stands
    for it."""

    again: str | None
    digest: str
    pdf: str | None = None
    other_paper: str | None = None


@dataclass(frozen=True, kw_only=True)
class Row:
    """A sheet of the table, with the set-up that serves it."""

    name: str
    setup: Mapping[str, Any]
    result: Mapping[str, Any]


def reading_unit(setup: Mapping[str, Any]) -> str:
    """The unit of what a set-up reads, as people write it."""
    unit: str = setup["profile"]["band"]["unit"]
    return FIELD_UNITS.get(unit, unit)


def render(
    answer: Mapping[str, Any],
    *,
    recommendation: Mapping[str, Any],
    setup: Mapping[str, Any],
    detector_class: DetectorClass,
    words: Words,
    paper: Paper,
    made_with: Versions | None,
    build: str,
    links: Links,
    style: str | None = None,
) -> str:
    """HTML of one set-up of a recommendation of the answer, and of the others of the same detector; all three as they
    go over the wire.

    `made_with` are the versions that the reader's link was made with; `style` is put into the page where it cannot be
    fetched.
    """
    same = [one for one in recommendation["setups"] if one["detector_class"]["id"] == setup["detector_class"]["id"]]
    results = {one["index"]: one for one in recommendation["sheets"]}
    unit = reading_unit(setup)
    today = Versions(model=answer["model_version"], catalogue=answer["catalogue_version"])
    label = partial(_label, answer=answer)
    rows = sorted(
        (Row(name=label(i), setup=one, result=results[i]) for one in same for i in one["sheets"]),
        key=lambda row: row.result["index"],
    )
    served = [row.result for row in rows if row.setup is setup] if len(rows) == 1 else [row.result for row in rows]
    arrangement = arrangement_of(setup, detector_class=detector_class, line=answer["job"].get("line", {}))
    not_served = [words.told(f"{label(one['index'])}: {one['text']}") for one in recommendation["not_served"]]
    late = _late(recommendation, setup, words)
    others = list(_others(recommendation, same, label=label, words=words))
    sheets = [_described(answer["sheets"][row.result["index"]], words) for row in rows]
    cautions = words.told(
        " ".join(caution["text"] for caution in answer["cautions"] if caution["code"] != ON_THE_PLATE)
    )
    several, own_places = len(rows) > 1, len({_place(row.setup["geometry"]) for row in rows}) > 1
    differs = made_with if made_with is not None and made_with != today else None
    boxed = [*late, *not_served, *([_differs(differs, today, words)] if differs else [])]
    across = [*boxed, *others, f"{words('cautions')} {cautions}", *([] if several else sheets)]
    above = BOX * len(boxed) + sum(lines_of(text, letters=LETTERS_ACROSS) for text in across)
    above += lines_of(answer["reference"] or "-", letters=LETTERS_OF_REFERENCE) - 1
    table = 3.0 + ROW * min(len(rows), MOST_ROWS) if several else 0.0
    room = LINES[paper] - HEAD - FOOT - above - table
    tried, elsewhere = trial(answer, own=[one["index"] for one in same], words=words)
    if recommendation["rank"] != 1:
        tried = []  # the trial is that of the recommendation ranked first
    blocks = [
        Block(
            title=words("steps"),
            items=list(
                steps(setup, arrangement=arrangement, served=served, own_places=own_places, unit=unit, words=words)
            ),
            ticked=True,
        ),
        Block(
            title=words("facts"), items=facts(setup, words=words), more=lambda count: words("facts-more", count=count)
        ),
        Block(
            title=words("trial-plan"),
            items=tried,
            elsewhere=elsewhere,
            more=lambda count: words("trial-more", count=count),
        ),
        *_found_out(answer, recommendation, words=words),
    ]
    beside = room - (0.0 if several else READINGS) - DRAWING_SPACE
    for height in (HEIGHT, LOW, LOWEST):
        columns = in_two_columns(
            blocks,
            left=room,
            right=beside - height / POINTS_A_LINE,
            left_out=lambda titles: words("left-out", titles=", ".join(titles)),
        )
        if columns.fit:
            break
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
            arrangement=arrangement,
            late=late,
            cautions=cautions,
            sheets=sheets,
            not_served=not_served,
            others=others,
            unit=unit,
            drawing=Markup(draw(arrangement, words=words, height=height)),
            columns=columns,
            rows=rows,
            several=several,
            own_gap=own_places,
            drawing_of=words("drawing-of", name=label(setup["sheets"][0])) if own_places else words("drawing"),
            most_rows=MOST_ROWS,
            serials=_serials(arrangement),
            today=today,
            differs=_differs(differs, today, words) if differs else None,
            build=build,
            links=links,
            code=_code(links.again),
        )
    )


def _differs(then: Versions, today: Versions, words: Words) -> str:
    made = {"then_model": then.model, "then_catalogue": then.catalogue}
    return words("differs", **made, model=today.model, catalogue=today.catalogue)


def _place(geometry: Mapping[str, Any]) -> tuple[float, float]:
    """Gap and tilt that are set."""
    return geometry["gap_mm"]["nominal"], (geometry["tilt_deg"] or {"nominal": 0.0})["nominal"]


def _code(address: str | None) -> Markup | None:
    """The address as a QR code (ISO/IEC 18004), a unit a module; None where it is too long to be scanned from paper."""
    if address is None or len(address) > LONGEST_SCANNED:
        return None
    code = segno.make_qr(address, error="l", boost_error=False)
    return Markup(code.svg_inline(omitsize=True, border=4, svgclass=None, lineclass=None))


def _serials(arrangement: Arrangement) -> list[str]:
    """Which heads have serial numbers, by the names of their words."""
    if arrangement.head["type"] in ("sound", "light"):
        return ["emitter", "receiver"]
    if arrangement.below_mm is not None and arrangement.above_mm is not None:
        return ["head-below", "head-above"]
    return ["roller"]


def _late(recommendation: Mapping[str, Any], setup: Mapping[str, Any], words: Words) -> list[str]:
    """What makes the verdict worse than the chance."""
    return [
        words.told(reason["text"])
        for reason in recommendation["reasons"]
        if reason["code"] in (*LINE, recommendation["limited_by"])
        and reason["values"].get("setup", setup["index"]) == setup["index"]
    ]


def _found_out(answer: Mapping[str, Any], recommendation: Mapping[str, Any], *, words: Words) -> Iterator[Block]:
    """What to find out next, of the recommendation ranked first: what moves the chance most."""
    items = [words.told(one["text"]) for one in answer.get("find_out", ())[:MOST_FOUND_OUT]]
    if recommendation["rank"] == 1:
        yield Block(title=words("find-out"), items=items, more=lambda count: words("find-out-more"))


def _others(
    recommendation: Mapping[str, Any],
    same: Sequence[Mapping[str, Any]],
    *,
    label: Callable[[int], str],
    words: Words,
) -> Iterator[str]:
    """Which sheets set-ups with other detectors serve, and what is changed while the list runs."""
    own = [one["index"] for one in same]
    for other in recommendation["setups"]:
        if other["index"] not in own:
            yield words("other", number=other["index"] + 1, sheets=", ".join(map(label, other["sheets"])))
    changes = [words(f"change-{what}", count=count) for what, count in recommendation["changeovers"].items() if count]
    if changes:
        yield words("change-overs", changes=", ".join(changes))


def _label(index: int, *, answer: Mapping[str, Any]) -> str:
    sheet: Mapping[str, Any] = answer["sheets"][index]
    return str(sheet["label"] or sheet["made_of"])


def _described(sheet: Mapping[str, Any], words: Words) -> str:
    """A sheet by its label, its material and both its sizes."""
    sizes = [words("grammage", value_gsm=sheet["grammage_gsm"]), words("thickness", value_um=sheet["thickness_um"])]
    made_of = words.told(sheet["made_of"])
    size = f"{made_of} ({', '.join(one for one in sizes if not made_of.endswith(one))})"
    return f"{sheet['label']}: {size}" if sheet["label"] else size
