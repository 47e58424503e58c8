"""Two detector classes or set-ups for a job side by side."""

from __future__ import annotations

from sheetmargin.contract.answer import ComparedStep, Comparison
from sheetmargin.report import mounted, outlook, sheets
from sheetmargin.report.view import View


def short_comparison(comparison: Comparison, view: View) -> str:
    """Which of the two is ranked first and what decides it, then how each would be set."""
    view = view.reading(comparison)
    words, page = view.words, view.page
    best = comparison.recommendations[0] if comparison.recommendations else None
    described = ", ".join(map(sheets.label_of, comparison.sheets))
    head = outlook.verdict_line(best.verdict if best else "unsuitable", described, view)
    if comparison.better:
        head += page.wrap(words("ranked-first", id=comparison.better))
    head += [
        line for one in comparison.recommendations[1:] if one.reasons for line in page.wrap(str(one.reasons[0].text))
    ]
    head += [line for one in comparison.ruled_out for line in page.wrap(f"{one.detector_class}: {one}")]
    rows = []
    for one in comparison.recommendations:
        setup = one.setups[0]
        told = f"{words.of('verdict', one.verdict)}, {words('chance-of', chance=view.figures.chance(one.chance))}"
        place = mounted.geometry(setup, view)
        rows.append([setup.detector_class.id, told, place, words("band-means", band=mounted.band(setup, view))])
    return view.joined(
        [comparison.reference] if comparison.reference else [],
        head,
        page.table(rows) if rows else [],
        page.table(step_rows(comparison, view), head=True) if comparison.steps else [],
        outlook.safety(comparison.cautions, view),
    )


def step_rows(comparison: Comparison, view: View) -> list[list[str]]:
    """The steps of the order, the deciding one first."""
    names = [one.setups[0].detector_class.id for one in comparison.recommendations]
    steps = [[_step(one, view), _value(one.first, view), _value(one.second, view)] for one in comparison.steps]
    return [[view.words("step"), *names], *steps]


def _step(one: ComparedStep, view: View) -> str:
    name = view.words.of("step", one.step).replace("-", " ")
    return f"{name} ({view.words('decides')})" if one.decides else name


def _value(value: object, view: View) -> str:
    if isinstance(value, bool):
        return view.words("yes" if value else "no")
    if isinstance(value, int | float):
        return view.figures.significant(float(value), 3)
    if value is None:
        return "-"
    return ", ".join(view.words.of("verdict", view.words.of("influence", part)) for part in str(value).split(", "))
