"""The answer to a job on one screen: what to mount and set, what will be read, what may go wrong, what to do next."""

from __future__ import annotations

from sheetmargin.contract.answer import Answer, Recommendation
from sheetmargin.report import levels, mounted, outlook, sheets
from sheetmargin.report.listed import list_answer
from sheetmargin.report.nothing import nothing_serves
from sheetmargin.report.page import LABEL, TIED
from sheetmargin.report.view import View

MOST_OTHERS = 3
LINES = 25
"""Of an answer for one sheet, which a terminal shows without scrolling."""


def short_answer(answer: Answer, view: View) -> str:
    """At most 25 lines for one sheet and 35 for ten, of 100 columns."""
    view = view.reading(answer)
    reference = view.page.wrap(answer.reference) if answer.reference else []
    if answer.best is None or not answer.best.setups:
        return view.joined(reference, *nothing_serves(answer, view))
    if len(answer.sheets) > 1:
        return view.joined(reference, *list_answer(answer, answer.best, view))
    return view.joined(reference, *_one_sheet(answer, answer.best, view))


def _one_sheet(answer: Answer, best: Recommendation, view: View) -> list[list[str]]:
    words, page, setup = view.words, view.page, best.setups[0]
    on_trial = best.verdict != "suitable"
    targets = levels.targets_of(answer)
    sheet = answer.sheets[0] if answer.sheets else None
    head = outlook.verdict_line(
        answer.verdict, sheets.described(sheet, answer.assumptions, view) if sheet else "", view
    )
    why = outlook.lowered_by(best, view)
    if on_trial and not why:
        why = page.wrap(words("cannot-decide"))
    mount = page.table(mounted.set_rows(setup, view, mount="try-first" if on_trial else "mount"), labels=True)
    result = best.sheets[0] if best.sheets else None
    read = page.table(levels.level_rows(result, setup, view), head=True, labels=True) if result else []
    rows = [levels.chance_row(best.chance, view), *(levels.misread_rows(result, targets, view) if result else ())]
    blocks = [[*head, *why], mount, read, page.table(rows[:4], labels=True)]
    following = outlook.next_line("trial", view)
    safety = outlook.safety(answer.cautions, view)
    room = LINES - sum(len(block) + 1 for block in (*blocks, safety) if block) - len(following)
    found = outlook.found_out_lines(answer, view, room=room) if on_trial else []
    rest: list[str] = []
    for lines in (outlook.unchecked(best.setups, view), _others(answer, best, view)):
        rest += lines if len(rest) + len(lines) <= room - len(found) else []
    return [*blocks, [*rest, *found, *following], safety]


def _others(answer: Answer, best: Recommendation, view: View) -> list[str]:
    """In a line, the other recommendations of the same verdict."""
    others = [one for one in answer.recommendations[1:] if one.verdict == best.verdict and one.setups]
    if not others:
        return []
    told = [
        f"{one.rank} {one.setups[0].detector_class.id}, {mounted.gap_in_words(one.setups[0], view)}"
        for one in others[:MOST_OTHERS]
    ]
    tied = "; ".join(one.replace(" ", TIED) for one in told)
    return view.page.labelled(view.words.of("also", best.verdict), tied, indent=LABEL)
