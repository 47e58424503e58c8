"""What readings say of a sample, and what that changes."""

from __future__ import annotations

from sheetmargin.contract.answer import Answer
from sheetmargin.contract.measure import Estimate, Fit, FittedInterval
from sheetmargin.report import mounted, outlook, sheets
from sheetmargin.report.view import View


def short_fit(fit: Fit, view: View) -> str:
    """The sample with 90 % intervals, what the readings say, and the recommendation before and after."""
    view = view.reading(fit.fitted)
    words, page = view.words, view.page
    answer, told = fit.fitted, sheets.described(fit.fit.library_sheet, fit.fitted.assumptions, view)
    return view.joined(
        [fit.reference] if fit.reference else [],
        outlook.verdict_line(answer.verdict, words("fitted-sheet", sheet=told), view),
        page.table(estimate_rows(fit, view), head=True),
        page.bullets(outlook.texts([*fit.fit.notes, *fit.changed])),
        page.table([_choice("by-library", fit.library, view), _choice("by-readings", fit.fitted, view)]),
        outlook.next_line("numbers", view),
        outlook.safety(answer.cautions, view),
    )


def estimate_rows(fit: Fit, view: View) -> list[list[str]]:
    """Each parameter of the sample as the library and as the readings have it."""
    words = view.words
    rows = [["", words("by-library"), words("by-readings"), ""]]
    for one in fit.fit.estimates:
        note = "" if one.informative else words("not-informative")
        rows.append(
            [words.of("estimate", one.name), _interval(one, one.library, view), _interval(one, one.fitted, view), note]
        )
    return rows


def residual_rows(fit: Fit, view: View) -> list[list[str]]:
    """Every reading against the fitted sheet."""
    words, figures = view.words, view.figures
    rows = [
        [
            words(name)
            for name in ("reading", "class-head", "gap", "tilt", "state", "measured", "by-fit", "off", "spread")
        ]
    ]
    rows[0].append("")
    for one in fit.fit.residuals:
        levels = (one.measured_db, one.fitted_db, one.residual_db, one.sigma_db)
        place = [f"{figures.gap(one.gap_mm)} mm", f"{figures.number(one.tilt_deg)}°"]
        state = words.of("state", one.state)
        told = [f"{figures.number(value, 1)} dB" for value in levels]
        rows.append(
            [str(one.index + 1), one.detector_class, *place, state, *told, words("outlier") if one.outlier else ""]
        )
    return rows


def _interval(one: Estimate, interval: FittedInterval, view: View) -> str:
    figures = view.figures
    unit = {"grammage_gsm": " g/m²", "trapped_air_um": " µm"}.get(one.name, "")
    low, nominal, high = (figures.significant(value, 3) for value in (interval.low, interval.nominal, interval.high))
    return f"{nominal}{unit} ({figures.range(low, high)})"


def _choice(name: str, answer: Answer, view: View) -> list[str]:
    words, best = view.words, answer.best
    if best is None or not best.setups:
        return [words(name), words.of("verdict", answer.verdict), "", ""]
    setup = best.setups[0]
    told = f"{words.of('verdict', answer.verdict)}, {words('chance-of', chance=view.figures.chance(best.chance))}"
    band = words("band-means", band=mounted.band(setup, view))
    return [words(name), told, f"{setup.detector_class.id}, {mounted.geometry(setup, view)}", band]
