"""The answer for a list: one row a sheet with its band, what is changed between sheets, and what is not served."""

from __future__ import annotations

from sheetmargin.contract.answer import Answer, Recommendation, Setup
from sheetmargin.report import levels, mounted, outlook, sheets
from sheetmargin.report.page import LABEL, clipped
from sheetmargin.report.view import View

LINES, LINES_FOR = 35, 10
"""Of an answer for so many sheets; each sheet more is a line more."""
MOST_NOT_SERVED = 3
MOST_INSTEAD = 2
LEAST_NAME = 18
"""Columns of a sheet's name, where the others leave no more."""
Place = tuple[str, float, float | None]
"""Where a detector is: its class, gap and tilt. Set-ups at one place differ by the band alone."""


def list_answer(answer: Answer, best: Recommendation, view: View) -> list[list[str]]:
    targets = levels.targets_of(answer)
    places = places_of(best)
    head = [*outlook.verdict_line(answer.verdict, _summary(best, view), view), *outlook.lowered_by(best, view)]
    blocks = [
        head,
        _not_served(answer, best, view),
        _mounts(best, places, view),
        _sheets(answer, best, places, view),
        _misreads(best, targets, view),
    ]
    following, safety = outlook.next_line("trial", view), outlook.safety(answer.cautions, view)
    most = LINES + max(len(answer.sheets) - LINES_FOR, 0)
    room = most - sum(len(block) + 1 for block in (*blocks, safety) if block) - len(following)
    found = outlook.found_out_lines(answer, view, room=room) if best.verdict != "suitable" else []
    rest: list[str] = []
    for lines in (outlook.unchecked(best.setups, view), *_instead(answer, view)):
        rest += lines if len(rest) + len(lines) <= room - len(found) else []
    return [*blocks, [*rest, *found, *following], safety]


def places_of(one: Recommendation) -> dict[Place, list[Setup]]:
    """The set-ups by where their detector is mounted."""
    found: dict[Place, list[Setup]] = {}
    for setup in one.setups:
        tilt = setup.geometry.tilt_deg
        place = (setup.detector_class.id, setup.geometry.gap_mm.nominal, tilt.nominal if tilt else None)
        found.setdefault(place, []).append(setup)
    return found


def _summary(best: Recommendation, view: View) -> str:
    words, places = view.words, places_of(best)
    served = words.counted("sheets-served", best.serves.count, of=best.serves.of)
    if len(best.setups) == 1:
        return f"{served} {words('on-one-setup')}"
    how = words("on-one-place") if len(places) == 1 else words.counted("on-places", len(places))
    changes = ", ".join(
        words.counted("changes", count, what=words(f"change.{what}"))
        for what, count in vars(best.changeovers).items()
        if count
    )
    return f"{served} {how} {words('per-run', changes=changes)}" if changes else f"{served} {how}"


def _not_served(answer: Answer, best: Recommendation, view: View) -> list[str]:
    names = sheets.names_of(answer.sheets)
    lines: list[str] = []
    for one in best.not_served[:MOST_NOT_SERVED]:
        name, text = names.get(one.index, ""), str(one)
        told = text if text.startswith(name) else f"{name}: {text}"
        lines += view.page.labelled(view.words("not-served") if not lines else "", told, indent=LABEL)
    more = len(best.not_served) - MOST_NOT_SERVED
    return lines + ([" " * LABEL + view.words("sheets-more", count=more)] if more > 0 else [])


def _mounts(best: Recommendation, places: dict[Place, list[Setup]], view: View) -> list[str]:
    words = view.words
    if len(places) == 1:
        label = "mount" if best.verdict == "suitable" else "try-first"
        rows = mounted.set_rows(best.setups[0], view, mount=label)
        rows = [row for row in rows if row[0] != words("band") or len(best.setups) == 1]
        return view.page.table(rows, labels=True)
    rows = []
    for setups in places.values():
        first, last = setups[0].index + 1, setups[-1].index + 1
        number = words("setup-number", number=first)
        if first != last:
            number = words("setup-pair" if last == first + 1 else "setup-numbers", first=first, last=last)
        told = words("class", id=setups[0].detector_class.id)
        rows.append([number, mounted.detector(setups[0]), mounted.geometry(setups[0], view), told])
    invented = any(setup.detector_class.illustrative for setup in best.setups)
    return view.page.table(rows, labels=True) + (view.page.wrap(words("invented-all")) if invented else [])


def _sheets(answer: Answer, best: Recommendation, places: dict[Place, list[Setup]], view: View) -> list[str]:
    """A row a sheet: its set-up where there are several, its band, what is read of one and two, margin, misses."""
    words, figures = view.words, view.figures
    summaries = {sheet.index: sheets.label_of(sheet) for sheet in answer.sheets}
    setups = {setup.index: setup for setup in best.setups}
    several = len(places) > 1
    head = [*([words("setup")] if several else []), words("set-band"), words("single")]
    rows = [[*head, words("double"), words("margin"), words("missed")]]
    names = [words("sheet")]
    for result in best.sheets:
        signal = result.signal
        unit = figures.unit(signal.unit)
        least = min(result.margin.no_sheet, result.margin.single, result.margin.double)
        values = [figures.level(value) for value in (signal.single.p50, signal.double.p50, least)]
        names.append(summaries.get(result.index, ""))
        rows.append(
            [
                *([str(result.setup + 1)] if several else []),
                mounted.band(setups[result.setup], view),
                *(figures.range(value, value, unit) for value in values),
                levels.rate(result.misread_ppm.double_as_single, view, short=True),
            ]
        )
    taken = sum(max(len(row[column]) for row in rows) + 2 for column in range(len(rows[0])))
    width = max(view.page.width - taken, LEAST_NAME)
    first = 2 if several else 1
    table = [[clipped(name, width), *row] for name, row in zip(names, rows, strict=True)]
    return view.page.table(table, right=range(first + 1, first + 4), head=True)


def _misreads(best: Recommendation, targets: dict[str, float], view: View) -> list[str]:
    """Chance, and of false stops and the rarer misreads the worst sheet's."""
    words = view.words
    rows = [levels.chance_row(best.chance, view)]
    for name in levels.MISREADS[1:]:
        found = [getattr(one.misread_ppm, name) for one in best.sheets]
        worst = max((one for one in found if one.estimate is not None), key=lambda one: one.high or 0.0, default=None)
        if worst is None or (name not in levels.ALWAYS_TOLD and levels.at_floor(worst)):
            continue
        target = words("target", target=view.figures.target(targets[name])) if name in targets else ""
        told = words("each-sheet", target=target) if target else ""
        rows.append([words(f"misread.{name}"), levels.rate(worst, view, short=True), told])
    return view.page.table(rows[:3], labels=True)


def _instead(answer: Answer, view: View) -> list[list[str]]:
    """The recommendations ranked next, each in a line."""
    words, found = view.words, list[list[str]]()
    for one in answer.recommendations[1 : 1 + MOST_INSTEAD]:
        places = places_of(one)
        told = [f"{one.rank} {' + '.join(setups[0].detector_class.id for setups in places.values())}"]
        if len(places) == 1:
            told.append(mounted.geometry(one.setups[0], view))
        told.append(words.counted("bands", len({str(setup.profile.band) for setup in one.setups})))
        if one.not_served:
            told.append(words.counted("sheets-served", one.serves.count, of=one.serves.of))
        told.append(words("chance-of", chance=view.figures.chance(one.chance)))
        text = f"{', '.join(told)}: {words.of('verdict', one.verdict)}"
        found.append(view.page.labelled(words("instead") if not found else "", text, indent=LABEL))
    return found
