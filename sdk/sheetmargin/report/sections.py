"""The sections behind the short answer to a job, by the words that ask for them: `--show why,numbers`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from sheetmargin.contract.answer import Answer, Recommendation, Setup
from sheetmargin.contract.mounting import Point
from sheetmargin.contract.notes import Alternative, Assumption, Note, RuledOut
from sheetmargin.report import levels, mounted, outlook, sheets
from sheetmargin.report.nothing import reasons_by_principle
from sheetmargin.report.page import LABEL
from sheetmargin.report.view import View

NOT_GIVEN = "not-given"
"""Code of the notes on what an unknown line leaves open: the short answer says it."""


def _why(answer: Answer, view: View) -> list[list[str]]:
    reasons = [str(why) for why in answer.best.reasons] if answer.best else []
    moves = [outlook.found_out(one, view) for one in answer.find_out]
    return [
        view.section(view.words("title.why"), view.page.bullets(reasons)),
        view.section(view.words("title.find-out"), view.page.numbered(moves)),
        view.section(view.words("would-serve"), view.page.numbered(outlook.texts(answer.would_serve))),
    ]


def _numbers(answer: Answer, view: View) -> list[list[str]]:
    """All set-ups: how each is set, what it reads of every sheet and how often it misreads."""
    blocks = []
    targets = levels.targets_of(answer)
    names = sheets.names_of(answer.sheets)
    for one in answer.recommendations:
        for setup in one.setups:
            head = f"{one.rank}  {mounted.detector(setup)} ({setup.detector_class.id})"
            if len(one.setups) > 1:
                head = f"{head}, {view.words('setup-number', number=setup.index + 1)}"
            lines = [view.page.strong(view.page.plain(head))]
            lines += view.page.table(mounted.set_rows(setup, view, mount="mount")[1:], labels=True)
            if setup.index == 0:
                told = f"{view.words.of('verdict', one.verdict)}, {view.figures.chance(one.chance)}"
                lines += view.page.labelled(view.words("chance"), told, indent=LABEL)
            blocks.append(lines)
            for result in one.sheets:
                if result.setup != setup.index:
                    continue
                name = [view.page.plain(names.get(result.index, ""))] if len(names) > 1 else []
                rows = levels.misread_rows(result, targets, view)
                blocks.append(
                    [
                        *name,
                        *view.page.table(levels.level_rows(result, setup, view), head=True, labels=True),
                        *view.page.table(rows, labels=True),
                        *view.page.wrap(view.words("others-at-floor") if len(rows) < len(levels.MISREADS) else ""),
                    ]
                )
    return [view.section(view.words("title.numbers"), [""]) + blocks[0], *blocks[1:]] if blocks else []


def mounting(best: Recommendation | None, view: View) -> list[list[str]]:
    """Where the heads are, how they are aligned, what else is worth knowing at the machine."""
    blocks = []
    for setup in _one_a_place(best) if best else ():
        several = best is not None and len(best.setups) > 1
        title = view.words("title.mounting")
        title = f"{title}: {mounted.detector(setup)} ({setup.detector_class.id})" if several else title
        steps = outlook.texts(setup.alignment.steps) if setup.alignment else []
        blocks.append(view.section(title, view.page.bullets(_in_place(setup, view)) + view.page.numbered(steps)))
    return blocks


def _one_a_place(one: Recommendation) -> list[Setup]:
    """Of set-ups that differ by the band alone, the first."""
    found: dict[tuple[str, str], Setup] = {}
    for setup in one.setups:
        found.setdefault((setup.detector_class.id, str(setup.geometry)), setup)
    return list(found.values())


def _in_place(setup: Setup, view: View) -> Iterable[str]:
    """Where the heads are, how exactly they have to be, how much room they take, how fast the line may run."""
    words, figures, mounting = view.words, view.figures, setup.mounting
    if mounting:
        emitter, receiver = mounting.emitter, mounting.receiver
        if emitter.x_mm == receiver.x_mm == 0:
            below, above = (figures.number(abs(point.y_mm), 1) for point in (emitter, receiver))
            yield words("heads-square", below=below, above=above)
        else:
            yield words("heads-tilted", below=_place(emitter, view), above=_place(receiver, view))
        yield words("height", height=figures.number(mounting.height_mm))
        if mounting.distances:
            yield words("edge-distance", distance=figures.number(mounting.distances.edge_least_mm, 1))
    if setup.alignment:
        yield words(
            "alignment",
            offset=figures.number(setup.alignment.lateral_mm_1db, 1),
            angle=figures.number(setup.alignment.angle_deg_1db, 1),
        )
    notes: list[Note] = []
    for part in (mounting, setup.timing):
        notes += [note for note in part.notes if note.code != NOT_GIVEN] if part else []
    if setup.timing and setup.timing.limit:
        notes.insert(0, setup.timing.limit)
    yield from dict.fromkeys(map(str, notes))


def _place(point: Point, view: View) -> str:
    height, along = view.figures.number(abs(point.y_mm), 1), view.figures.number(point.x_mm, 1)
    return view.words("place", height=height, along=along)


def _trial(answer: Answer, view: View) -> list[list[str]]:
    return [view.section(view.words("title.trial"), view.page.numbered(outlook.texts(answer.trial)))]


def assumptions(notes: Sequence[Assumption], view: View) -> list[list[str]]:
    """What was assumed, where it comes from, and the input that takes its place."""
    sources = list(dict.fromkeys(one.source for one in notes if one.source))
    number = {source: index for index, source in enumerate(sources, 1)}
    rows = [[view.words("input"), view.words("assumed")]]
    rows += [[_input(one, view), _with_mark(one, number)] for one in notes]
    told = [f"[{index}] {source}" for source, index in number.items()]
    lines = view.page.table(rows, head=True) if len(rows) > 1 else []
    return [
        view.section(view.words("title.assumptions"), lines),
        [line for text in told for line in view.page.wrap(text, rest="    ")],
    ]


def _input(one: Assumption, view: View) -> str:
    return view.name_input(one.pointer) if one.pointer else ""


def _with_mark(one: Assumption, number: dict[str, int]) -> str:
    text = one.text or one.code
    return f"{text} [{number[one.source]}]" if one.source else text


def _alternatives(answer: Answer, view: View) -> list[list[str]]:
    """What could serve beside the recommendation ranked first, and why each is ranked behind it."""
    rows = []
    for one in answer.recommendations[1:]:
        if not one.setups:
            continue
        classes = " + ".join(dict.fromkeys(setup.detector_class.id for setup in one.setups))
        told = f"{view.words.of('verdict', one.verdict)}, {view.figures.chance(one.chance)}"
        rows.append([f"{one.rank}", classes, told, str(one.reasons[0].text) if one.reasons else ""])
    rows += [["", one.detector_class, "", str(one)] for one in answer.alternatives]
    return [view.section(view.words("title.alternatives"), view.page.table(rows) if rows else [])]


def _ruled_out(answer: Answer, view: View) -> list[list[str]]:
    """A row a principle, then every class."""
    title = view.words("title.ruled-out")
    return [view.section(title, reasons_by_principle(answer.ruled_out, view)), _every(answer.ruled_out, view)]


def _every(notes: Sequence[RuledOut | Alternative], view: View) -> list[str]:
    """Classes that have the same reason in one row."""
    reasons: dict[str, list[str]] = {}
    for one in notes:
        reasons.setdefault(str(one), []).append(one.detector_class)
    return [
        line
        for text, classes in reasons.items()
        for line in view.page.wrap(f"{', '.join(classes)}: {text}", first="- ")
    ]


SECTIONS: dict[str, Callable[[Answer, View], list[list[str]]]] = {
    "why": _why,
    "numbers": _numbers,
    "mounting": lambda answer, view: mounting(answer.best, view),
    "trial": _trial,
    "assumptions": lambda answer, view: assumptions(answer.assumptions, view),
    "alternatives": _alternatives,
    "ruled-out": _ruled_out,
}
"""Each by the word that asks for it, in the order in which they are shown."""
