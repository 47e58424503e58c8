"""The answer as an engineer reads it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from sheetmargin.contract.answer import (
    Answer,
    ComparedStep,
    Comparison,
    Finding,
    FindOut,
    Misread,
    Percentiles,
    Recommendation,
    Setup,
    SheetResult,
    SheetSummary,
)
from sheetmargin.contract.mounting import Point
from sheetmargin.report.text import WIDTH, bullets, clipped, percent, shown, table

VERDICTS = {
    "suitable": "suitable: every target is met, with a chance of 95 % or more",
    "trial-needed": "trial needed: promising; only a bench trial can tell",
    "unsuitable": "unsuitable: nothing admitted tells none, one and two sheets apart",
}
PART_SERVED = "{verdict}: of {of} sheets, number 1 serves {count}; nothing admitted serves every one"

BEFORE_SENSING = {
    "requirement-missed": "meets the job's requirements",
    "outside-rating": "is rated for this air",
    "no-room-for-head": "fits the machine",
    "no-room-for-face": "fits the machine",
    "no-room-beside": "fits the machine",
    "no-room-for-support": "fits the machine",
    "nothing-to-run-on": "fits the machine",
    "does-not-fit": "fits the machine",
}
"""What a class lacks, by the code of the reason, that is ruled out before it is asked about a sheet."""

MISREADS = {
    "double_as_single": "two as one",
    "single_as_double": "one as two",
    "single_as_no_sheet": "one as none",
    "double_as_no_sheet": "two as none",
    "no_sheet_as_single": "none as one",
    "no_sheet_as_double": "none as two",
}

NOT_GIVEN = "not-given"
"""Code of the notes on what an unknown line leaves open; a job without a line would drown in them."""
LINE = ("too-fast", "maybe-too-fast", "pitch-must-hold", "beam-over-edge")
"""Codes of the reasons by which the line lowers a verdict: they stand at the table, of every set-up."""


def report(answer: Answer) -> str:
    """Verdict, what is not served, sheets, ranked set-ups, what they read, then the notes; sections without content are
    left out."""
    sections = [
        _head(answer),
        _setups(answer),
        _levels(answer),
        _misreads(answer),
        bullets("What else would serve", map(str, answer.would_serve)),
        bullets("Why number 1", map(str, answer.best.reasons if answer.best else ())),
        bullets("Number 1 in place", _in_place(answer.best) if answer.best else ()),
        bullets("Find out next", map(_found_out, answer.find_out)),
        bullets("Trial", map(str, answer.trial)),
        bullets("Cautions", map(str, answer.cautions)),
        bullets("Assumed", map(str, answer.assumptions)),
        bullets("Alternatives", (f"{one.detector_class}: {one}" for one in answer.alternatives)),
        bullets("Ruled out", (f"{one.detector_class}: {one}" for one in answer.ruled_out)),
    ]
    return "\n\n".join(section for section in sections if section)


def comparison_report(comparison: Comparison) -> str:
    """Which of two classes is ranked first, the steps of the order with the deciding one first, and how each is set."""
    names = [one.setups[0].detector_class.id for one in comparison.recommendations]
    lines = [f"{one.detector_class}: {one}" for one in comparison.ruled_out]
    if comparison.better:
        lines.insert(0, f"ranked first: {comparison.better}")
    lines += [str(one.reasons[0]) for one in comparison.recommendations[1:]]
    rows = [["step", *names], *([_step(one), shown(one.first), shown(one.second)] for one in comparison.steps)]
    steps = table(rows) if comparison.steps else ""
    return "\n\n".join(filter(None, ["\n".join(lines), steps, bullets("Cautions", map(str, comparison.cautions))]))


def _step(one: ComparedStep) -> str:
    return one.step.replace("-", " ") + (" (decides)" if one.decides else "")


def nothing_considered(answer: Answer) -> str | None:
    """Why no class was asked about the sheets at all; None where one was."""
    lacks = [BEFORE_SENSING.get(one.code) for one in answer.ruled_out]
    if answer.best or not lacks or None in lacks:
        return None
    return "no class of the catalogue " + " and ".join(
        word for word in dict.fromkeys(BEFORE_SENSING.values()) if word in lacks
    )


def _head(answer: Answer) -> str:
    lines = [answer.reference] if answer.reference else []
    lines += textwrap.wrap(_verdict(answer), WIDTH)
    if answer.best:
        simpler = [str(why) for why in answer.best.reasons if why.code == "simpler-choice"]
        lines += [line for text in (*_not_served(answer, answer.best), *simpler) for line in textwrap.wrap(text, WIDTH)]
    lines += [_sheet(sheet, named=len(answer.sheets) > 1) for sheet in answer.sheets]
    return "\n".join(lines)


def _verdict(answer: Answer) -> str:
    verdict: str = answer.verdict
    if answer.best and answer.best.not_served:
        return PART_SERVED.format(verdict=verdict, count=answer.best.serves.count, of=answer.best.serves.of)
    nothing = nothing_considered(answer)
    if nothing:
        return f"{verdict}: {nothing}"
    return VERDICTS.get(verdict, verdict)


def _not_served(answer: Answer, one: Recommendation) -> Iterator[str]:
    names = _names(answer)
    for sheet in one.not_served:
        yield f"Not served: {names.get(sheet.index, f'sheet {sheet.index}')}. {sheet}"


def _names(answer: Answer) -> dict[int, str]:
    return {sheet.index: _name(sheet) for sheet in answer.sheets}


def _sheet(sheet: SheetSummary, *, named: bool) -> str:
    sizes = [(sheet.grammage_gsm, "g/m2"), (sheet.thickness_um, "um"), (sheet.density_kg_m3, "kg/m3")]
    parts = [sheet.material, *(f"{value:g} {unit}" for value, unit in sizes)]
    text = ", ".join(parts)
    return f"{_name(sheet)}: {text}" if named or sheet.label else text


def _name(sheet: SheetSummary) -> str:
    return sheet.label or f"sheet {sheet.index}"


def _setups(answer: Answer) -> str:
    rows = [["#", "class", "gap mm", "tilt deg", "one sheet reads", "verdict"]]
    below: list[list[str]] = []
    for one in answer.recommendations:
        for number, setup in enumerate(one.setups, start=1):
            rank, verdict = (shown(one.rank), _served_verdict(one)) if number == 1 else ("", "")
            rows.append([rank, _class(setup), *_geometry(setup), str(setup.profile.band), verdict])
            below.append(list(_below(answer, one, setup, number)) if len(answer.sheets) > 1 else [])
    if len(rows) == 1:
        return ""
    head, *lines = table(rows).split("\n")
    illustrative = any(setup.detector_class.illustrative for one in answer.recommendations for setup in one.setups)
    lines = [line for row, more in zip(lines, below, strict=True) for line in (row, *more)]
    late = [
        f"{shown(one.rank)}: {why.text}"
        for one in answer.recommendations
        for why in one.reasons
        if why.code in LINE or why.code == one.limited_by
    ]
    told = (line for text in late for line in textwrap.wrap(text, WIDTH, subsequent_indent="   "))
    return "\n".join(
        [head, *lines, *(["* an illustrative class, invented; no product"] if illustrative else []), *told]
    )


def _served_verdict(one: Recommendation) -> str:
    """The verdict of what is served, and how likely it is to do; how many sheets that is, where it is not all."""
    verdict = f"{shown(one.verdict)}, {percent(one.chance)}"
    return f"{verdict}, {one.serves.count} of {one.serves.of}" if one.not_served else verdict


def _below(answer: Answer, one: Recommendation, setup: Setup, number: int) -> Iterator[str]:
    """Lines below a set-up of a list: what the recommendation does not serve, which sheets the set-up does, and what is
    changed between the set-ups."""
    texts = list(_not_served(answer, one)) if number == 1 and one is not answer.best else []
    names = _names(answer)
    served = ", ".join(names.get(index, f"sheet {index}") for index in setup.sheets)
    texts.append(f"set-up {number}: for {served}" if len(one.setups) > 1 else f"for {served}")
    if number == len(one.setups) > 1:
        changes = one.changeovers
        counts = {"class": changes.detector_class, "gap or tilt": changes.geometry, "profile": changes.profile}
        told = ", ".join(f"{count} of {what}" for what, count in counts.items() if count)
        texts.append(f"change-overs while the list is run once: {told}")
    for text in texts:
        yield from textwrap.wrap(text, WIDTH, initial_indent="   ", subsequent_indent="   ")


def _class(setup: Setup) -> str:
    return shown(setup.detector_class.id) + (" *" if setup.detector_class.illustrative else "")


def _geometry(setup: Setup) -> list[str]:
    return [str(setup.geometry.gap_mm), shown(setup.geometry.tilt_deg)]


def _results(answer: Answer) -> Iterator[tuple[list[str], SheetResult]]:
    """Each sheet of each recommendation, behind the cells that name it: the sheet only where there are several."""
    names = _names(answer)
    for one in answer.recommendations:
        for sheet in one.sheets:
            name = clipped(names.get(sheet.index, f"sheet {sheet.index}"), 12)
            yield [shown(one.rank), *([name] if len(names) > 1 else [])], sheet


def _naming_head(answer: Answer) -> list[str]:
    return ["#", "sheet"] if len(answer.sheets) > 1 else ["#"]


def _levels(answer: Answer) -> str:
    """Levels as median (1 % to 99 %) and the margin of each state, one table for each quantity that is read."""
    head = [*_naming_head(answer), "no sheet", "one sheet", "two sheets", "none", "one", "two"]
    tables: dict[str, list[list[str]]] = {}
    for name, sheet in _results(answer):
        quantity = f"{(sheet.signal.quantity or 'signal').capitalize()} in {sheet.signal.unit or 'its unit'}"
        tables.setdefault(quantity, [head]).append([*name, *_states(sheet)])
    title = "{}: median (1 % to 99 % of events), then the margins to the edge of the band"
    right = range(len(head) - 3, len(head))
    return "\n\n".join(f"{title.format(quantity)}\n{table(rows, right=right)}" for quantity, rows in tables.items())


def _states(sheet: SheetResult) -> list[str]:
    signal, margin = sheet.signal, sheet.margin
    levels = [_spread(state) for state in (signal.no_sheet, signal.single, signal.double)]
    margins = [f"{value:.1f}" for value in (margin.no_sheet, margin.single, margin.double)]
    return levels + margins


def _spread(state: Percentiles) -> str:
    return f"{state.p50:.1f} ({state.p1:.1f} to {state.p99:.1f})"


def _misreads(answer: Answer) -> str:
    """Misreads as estimate (low to high); the kinds that are at the floor everywhere are named once instead."""
    results = list(_results(answer))
    kinds = {kind: [getattr(sheet.misread_ppm, kind) for _, sheet in results] for kind in MISREADS}
    told = [kind for kind, all_ in kinds.items() if not all(one.estimate is None or _at_floor(one) for one in all_)]
    rest = [one for kind, all_ in kinds.items() if kind not in told for one in all_]
    lines = []
    if told:
        rows = [[*name, *(_misread(getattr(sheet.misread_ppm, kind)) for kind in told)] for name, sheet in results]
        lines.append("Misreads in a million events: estimate (low to high)")
        lines.append(table([[*_naming_head(answer), *(MISREADS[kind] for kind in told)], *rows]))
    if rest and all(_at_floor(one) for one in rest):
        floor = max(one.estimate for one in rest)
        lines.append(
            f"Every {'other ' if told else ''}misread: at most {floor:g} in a million; nothing rarer is claimed"
        )
    return "\n".join(lines)


def _at_floor(misread: Misread) -> bool:
    """Whether nearly every such job is at the floor, and not the median alone."""
    return misread.floored and (misread.high is None or misread.high == misread.estimate)


def _misread(misread: Misread) -> str:
    if misread.estimate is None:
        return "-"
    if _at_floor(misread):
        return f"<= {misread.estimate:g}"
    if misread.low is None or misread.high is None or misread.low == misread.high:
        return f"{misread.estimate:.3g}"
    return f"{misread.estimate:.3g} ({misread.low:.3g} to {misread.high:.3g})"


def _in_place(best: Recommendation) -> Iterator[str]:
    """Where the heads stand and how fast the line may run, as far as the job lets it be known."""
    for number, setup in enumerate(best.setups, start=1):
        of = f"set-up {number}, {setup.detector_class.id}: " if len(best.setups) > 1 else ""
        alignment, mounting, timing = setup.alignment, setup.mounting, setup.timing
        if mounting:
            yield (
                f"{of}faces at {_point(mounting.emitter)} (emitter) and {_point(mounting.receiver)} (receiver): "
                "x along travel, y up, mm from where the beam meets the sheet"
            )
        if alignment:
            yield (
                f"{of}1 dB is lost by an offset of {shown(alignment.lateral_mm_1db)} mm or an angle of "
                f"{shown(alignment.angle_deg_1db)} degrees of one face"
            )
        if timing and timing.hold_ms is not None:
            yield f"{of}hold the output for {shown(timing.hold_ms)} ms"
        if timing and timing.limit:
            yield f"{of}{timing.limit}"
        yield from (f"{of}{note}" for note in mounting.notes if note.code != NOT_GIVEN) if mounting else ()
        yield from (f"{of}{note}" for note in timing.notes if note.code != NOT_GIVEN) if timing else ()


def _found_out(one: FindOut) -> str:
    """What to find out, and what each finding would make of number 1."""
    return f"{one} {'; '.join(_finding(finding, one.unit) for finding in one.findings)}."


def _finding(finding: Finding, unit: str | None) -> str:
    low, high = (None if end is None else f"{float(f'{end:.3g}'):g}" for end in (finding.low, finding.high))
    if finding.answer is not None:
        where = f"{'If' if finding.answer == 'no' else 'if'} {finding.answer}"
    elif low is None:
        where = f"Up to {high} {unit}"
    else:
        where = f"above {low} {unit}" if high is None else f"{low} to {high} {unit}"
    return f"{where}: {shown(finding.verdict)}, {percent(finding.chance)}"


def _point(point: Point) -> str:
    return f"({shown(point.x_mm)}, {shown(point.y_mm)})"
