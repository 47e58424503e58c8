"""What a detector reads in each state, and how often it misreads: rows of tables."""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin.contract.answer import (
    Answer,
    Misread,
    Setup,
    SheetResult,
)
from sheetmargin.contract.notes import Assumption
from sheetmargin.report.view import View

STATES = ("no_sheet", "single", "double")
MISREADS = (
    "double_as_single",
    "single_as_double",
    "single_as_no_sheet",
    "double_as_no_sheet",
    "no_sheet_as_single",
    "no_sheet_as_double",
)
ALWAYS_TOLD = MISREADS[:2]
"""Missed doubles and false stops: the others are told where they are not at the floor."""


def state_names(result: SheetResult, setup: Setup | None, view: View) -> dict[str, str]:
    """What the rows of a table of levels are called: in a stream and of plies that are counted not as elsewhere."""
    words, timing = view.words, setup.timing if setup else None
    names = {state: words(f"state.{state}") for state in STATES}
    if timing and timing.plies_most:
        fewest, most = timing.plies_fewest or timing.plies_most, timing.plies_most
        lying = view.figures.range(str(fewest), str(most))
        names |= {"single": words("state.stream", count=lying), "double": words("state.stream-double")}
    elif result.signal.one_ply_missing is not None:
        names["double"] = words("state.one-ply-more")
    return names


def level_rows(result: SheetResult, setup: Setup | None, view: View) -> list[list[str]]:
    """The head, then each state: expected, 98 % of readings, margin; the smallest margin is marked."""
    words, figures, signal = view.words, view.figures, result.signal
    unit = figures.unit(signal.unit)
    margins = {state: getattr(result.margin, state) for state in STATES}
    least = min(margins, key=lambda state: margins[state])
    rows = [["", words("expected"), words("98-percent"), words("margin"), ""]]
    for state, name in state_names(result, setup, view).items():
        spread = getattr(signal, state)
        rows.append(
            [
                name,
                figures.range(figures.level(spread.p50), figures.level(spread.p50), unit),
                figures.levels(spread.p1, spread.p99, signal.unit),
                figures.range(figures.level(margins[state]), figures.level(margins[state]), unit),
                words("smallest") if state == least else "",
            ]
        )
    fewer = signal.one_ply_missing
    if fewer is not None:
        told = figures.range(figures.level(fewer.p50), figures.level(fewer.p50), unit)
        rows.append([words("state.one-ply-missing"), told, figures.levels(fewer.p1, fewer.p99, signal.unit), "", ""])
    return rows


def targets_of(answer: Answer) -> dict[str, float]:
    """The targets of the job, given or assumed, per million."""
    given = {name: getattr(answer.job.targets, name) for name in MISREADS}
    return assumed_targets(answer.assumptions) | {name: float(ppm) for name, ppm in given.items() if ppm is not None}


def assumed_targets(assumptions: Sequence[Assumption]) -> dict[str, float]:
    """The targets that were not given."""
    start = "/targets/"
    assumed = {
        (one.pointer or "").removeprefix(start): one.value
        for one in assumptions
        if (one.pointer or "").startswith(start)
    }
    return {name: float(ppm) for name in MISREADS if isinstance(ppm := assumed.get(name), int | float)}


def at_floor(misread: Misread) -> bool:
    """Whether nearly every such job is at the floor, and not the median alone."""
    return misread.floored and (misread.high is None or misread.high == misread.estimate)


def rate(misread: Misread, view: View, *, short: bool = False) -> str:
    """The median with what 90 % of such jobs have; `short` for a column."""
    if misread.estimate is None:
        return "-"
    low, high = (misread.estimate if value is None else value for value in (misread.low, misread.high))
    return view.figures.rates(misread.estimate, low, high, short=short)


def chance_row(chance: float, view: View) -> list[str]:
    return [view.words("chance"), view.figures.chance(chance), view.words("chance-text")]


def misread_rows(result: SheetResult, targets: dict[str, float], view: View) -> list[list[str]]:
    """Missed doubles and false stops, and of the other misreads those that are not at the floor."""
    rows = []
    for name in MISREADS:
        misread: Misread = getattr(result.misread_ppm, name)
        if misread.estimate is None or (name not in ALWAYS_TOLD and at_floor(misread)):
            continue
        target = view.words("target", target=view.figures.target(targets[name])) if name in targets else ""
        rows.append([view.words(f"misread.{name}"), rate(misread, view), target])
    return rows
