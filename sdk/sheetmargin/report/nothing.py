"""The answer where nothing serves: why not, by principle, and what would have to change or be known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from sheetmargin.contract.answer import Answer
from sheetmargin.contract.notes import RuledOut
from sheetmargin.report import outlook, sheets
from sheetmargin.report.view import View

LINES = 25
LACKS = {
    "requirement-missed": "requirement",
    "outside-rating": "rating",
    "no-room-for-head": "room",
    "no-room-for-face": "room",
    "no-room-beside": "room",
    "no-room-for-support": "room",
    "nothing-to-run-on": "room",
    "does-not-fit": "room",
}
"""What a class lacks that is ruled out before it is asked about a sheet, by the code of the reason."""


def nothing_considered(answer: Answer, view: View) -> str | None:
    """Why no class was asked about the sheets at all; None where one was."""
    lacks = [LACKS.get(one.code) for one in answer.ruled_out]
    if answer.best or not lacks or None in lacks:
        return None
    told = [view.words(f"lacks.{what}") for what in dict.fromkeys(LACKS.values()) if what in lacks]
    return view.words("none-lacks", lacks=f" {view.words('and')} ".join(told))


def nothing_serves(answer: Answer, view: View) -> list[list[str]]:
    words, page = view.words, view.page
    described = ", ".join(sheets.described(sheet, answer.assumptions, view) for sheet in answer.sheets)
    head = outlook.verdict_line(answer.verdict, described, view)
    if len(answer.sheets) > 1:
        none = words("no-class-served")
    else:
        count = sum(one.code not in LACKS for one in answer.ruled_out)
        none = nothing_considered(answer, view) or words.counted("none-of", count)
    would = view.section(words("would-serve"), page.numbered(outlook.texts(answer.would_serve[:3])))
    end = [
        page.wrap(" ".join(filter(None, (words("nothing-to-mount"), view.next_step("ruled-out"))))),
        outlook.safety(answer.cautions, view),
    ]
    blocks = [head, page.wrap(none) if answer.ruled_out else [], would]
    room = LINES - sum(len(block) + 1 for block in (*blocks, *end) if block)
    found = outlook.found_out_lines(answer, view, room=max(room // 2, 4))
    reasons = reasons_by_principle(answer.ruled_out, view, room=room - len(found) - 1)
    return [blocks[0], blocks[1], reasons, would, found, *end]


def reasons_by_principle(ruled_out: Sequence[RuledOut], view: View, *, room: int | None = None) -> list[str]:
    """A row a principle, and one for what was left out before: how many classes, and the reason that most of them have.
    With `room`, so many lines at most: reasons are cut to a line each, from the last on."""
    words = view.words
    groups: dict[str, list[RuledOut]] = {}
    for one in ruled_out:
        lacks = LACKS.get(one.code)
        name = words(f"left-out.{lacks}") if lacks else one.principle_name or one.principle
        groups.setdefault(name, []).append(one)
    if not groups:
        return []
    rows = [[words("principle"), words("classes"), words("why-head")]]
    for name, members in sorted(groups.items(), key=lambda item: -len(item[1])):
        (code, _), *_ = Counter(one.code for one in members).most_common(1)
        rows.append([name, str(len(members)), next(str(one) for one in members if one.code == code)])
    wide = view.page.width - sum(max(len(row[column]) for row in rows) + 2 for column in (0, 1))
    for row in reversed(rows):
        lines = view.page.table(rows, right=(1,), head=True)
        if room is None or len(lines) <= room:
            break
        row[2] = _first_part(row[2], wide)
    return view.page.table(rows, right=(1,), head=True)


def _first_part(text: str, width: int) -> str:
    """The text as far as a line holds it, cut at the end of a part of the sentence."""
    if len(text) <= width:
        return text
    for mark in (". ", "; ", ": ", ", ", " and ", " und ", " ("):
        head, found, _ = text[:width].rpartition(mark)
        if found and len(head) > width // 3:
            return f"{head.rstrip(',;:')}."
    return f"{text[: width - 2].rpartition(' ')[0]} .."
