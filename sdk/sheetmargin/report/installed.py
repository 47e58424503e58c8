"""What is expected of a detector where it is mounted, and what is wrong with it."""

from __future__ import annotations

from sheetmargin.contract.answer import Recommendation
from sheetmargin.contract.measure import Cause, Diagnosis, Prediction
from sheetmargin.report import levels, mounted, outlook, sheets
from sheetmargin.report.view import View

MOST_CAUSES = 3


def short_prediction(prediction: Prediction, view: View) -> str:
    """Verdict, how it is set, what is read and misread; then what the grid asks for."""
    view = view.reading(prediction)
    return view.joined(
        *_installed(prediction, prediction.predicted, view),
        _map(prediction, view),
        _positions(prediction, view),
        _grammages(prediction, view),
        outlook.next_line("why", view),
        outlook.safety(prediction.cautions, view),
    )


def short_diagnosis(diagnosis: Diagnosis, view: View) -> str:
    """What should be read, then the likeliest causes, each with its test and its remedy."""
    view = view.reading(diagnosis)
    causes = causes_of(diagnosis, view, most=MOST_CAUSES)
    return view.joined(
        *_installed(diagnosis, diagnosis.computed, view),
        view.section(view.words("causes"), causes),
        outlook.next_line("why", view) if len(diagnosis.causes) > MOST_CAUSES else [],
        outlook.safety(diagnosis.cautions, view),
    )


def causes_of(diagnosis: Diagnosis, view: View, *, most: int | None = None) -> list[str]:
    return [line for cause in diagnosis.causes[:most] for line in _cause(cause, view)]


def _cause(cause: Cause, view: View) -> list[str]:
    """Its probability, what it is, the test that tells it from the next and what helps."""
    likely = view.figures.chance(cause.probability)
    lines = view.page.wrap(str(cause.cause), first=f"{cause.rank}  {likely:>6}  ")
    indent = " " * (len(f"{cause.rank}") + 2)
    for label, note in (("test", cause.test), ("remedy", cause.remedy)):
        if note and str(note):
            lines += view.page.wrap(f"{view.words(label)}: {note}", first=indent + 8 * " ")
    return lines


def _installed(told: Prediction | Diagnosis, one: Recommendation, view: View) -> list[list[str]]:
    page = view.page
    described = ", ".join(sheets.described(sheet, told.assumptions, view) for sheet in told.sheets)
    head = [told.reference] if told.reference else []
    head += [*outlook.verdict_line(one.verdict, described, view), *outlook.lowered_by(one, view)]
    if not one.setups:
        return [head]
    setup, result = one.setups[0], next(iter(one.sheets), None)
    blocks = [head, page.table(mounted.set_rows(setup, view, mount="installed"), labels=True)]
    if result is None:
        return blocks
    rows = [
        levels.chance_row(one.chance, view),
        *levels.misread_rows(result, levels.assumed_targets(told.assumptions), view),
    ]
    read = page.table(levels.level_rows(result, setup, view), head=True, labels=True)
    return [*blocks, read, page.table(rows, labels=True)]


def _map(prediction: Prediction, view: View) -> list[str]:
    found, figures = prediction.gap_tilt, view.figures
    if found is None:
        return []
    unit = _unit(prediction, view)
    rows = [[view.words("gap"), *(f"{figures.number(tilt, 1)}°" for tilt in found.tilt_deg)]]
    rows += [
        [f"{figures.number(gap, 1)} mm", *map(figures.level, row)]
        for gap, row in zip(found.gap_mm, found.margin, strict=False)
    ]
    title = view.words("margin-map", unit=unit)
    return view.section(title, view.page.table(rows, right=range(len(rows[0])), head=True))


def _unit(prediction: Prediction, view: View) -> str:
    """What is read is in; empty where the answer tells of no sheet."""
    return next((view.figures.unit(one.signal.unit) for one in prediction.predicted.sheets), "")


def _positions(prediction: Prediction, view: View) -> list[str]:
    figures = view.figures
    if not prediction.positions:
        return []
    unit = _unit(prediction, view)
    rows = [[view.words("position"), view.words("state.single")]]
    rows += [
        [f"{figures.number(one.position_mm, 3)} mm", f"{figures.level(one.single)} {unit}"]
        for one in prediction.positions
    ]
    return view.page.table(rows, right=(0, 1), head=True)


def _grammages(prediction: Prediction, view: View) -> list[str]:
    figures, words = view.figures, view.words
    if not prediction.grammages:
        return []
    unit = _unit(prediction, view)
    rows = [[words("grammage"), words("state.single"), words("state.double"), words("margin"), words("margin-double")]]
    for one in prediction.grammages:
        values = (one.single.p50, one.double.p50, one.margin.single, one.margin.double)
        rows.append([figures.grammage(one.grammage_gsm), *(f"{figures.level(value)} {unit}" for value in values)])
    return view.page.table(rows, right=range(5), head=True)
