"""Answers of the bench as an engineer reads them."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from sheetmargin.contract.answer import Answer, Percentiles, Recommendation
from sheetmargin.contract.measure import Diagnosis, Estimate, Fit, FittedInterval, Prediction
from sheetmargin.report.recommendation import report
from sheetmargin.report.text import WIDTH, bullets, percent, shown, table

STATES = {"no_sheet": "no sheet", "single": "one sheet", "double": "two sheets"}
VERDICTS = {
    "suitable": "suitable: every target is met, with a chance of 95 % or more",
    "trial-needed": "trial needed: promising; only a bench trial can tell",
    "unsuitable": "unsuitable: so set, the pair does not tell none, one and two sheets apart",
}
PARAMETERS = {
    "grammage_gsm": "grammage, g/m2",
    "stiffness_factor": "stiffness, times the library's",
    "loss_factor": "loss factor",
    "trapped_air_um": "trapped air, median, um",
    "trapped_air_width": "trapped air, spread (of its logarithm)",
}


def written(answer: object) -> str:
    """Any answer that a person reads."""
    match answer:
        case Prediction():
            return prediction_report(answer)
        case Fit():
            return fit_report(answer)
        case Diagnosis():
            return diagnosis_report(answer)
        case Answer():
            return report(answer)
        case _:
            raise TypeError(f"{type(answer).__name__} is no answer")


def prediction_report(prediction: Prediction) -> str:
    """Verdict, levels and margins, then what the grid asked for."""
    return _joined(
        prediction.reference,
        _levels(prediction.predicted),
        _map(prediction),
        _positions(prediction),
        _grammages(prediction),
        bullets("Why", map(str, prediction.predicted.reasons)),
        bullets("Cautions", map(str, prediction.cautions)),
        bullets("Assumed", map(str, prediction.assumptions)),
    )


def fit_report(fit: Fit) -> str:
    """What the readings say of the sample, every residual, and what changes in the recommendation."""
    return _joined(
        fit.reference,
        "The sample, with 90 % intervals\n" + table(estimate_rows(fit.fit.estimates), right=(3,)),
        "Readings in dB\n" + table(residual_rows(fit), right=range(5, 9)),
        bullets("What they say", map(str, fit.fit.notes)),
        bullets("What they change", map(str, fit.changed)),
        table([["", "verdict", "first choice", "gap mm", "tilt deg"], _choice("library", fit), _choice("fitted", fit)]),
        bullets("Trial of the fitted sheet", map(str, fit.fitted.trial)),
        bullets("Cautions", map(str, fit.fitted.cautions)),
    )


def diagnosis_report(diagnosis: Diagnosis) -> str:
    """Causes with their probabilities, and for each the test and the remedy."""
    causes = []
    for cause in diagnosis.causes:
        lines = textwrap.wrap(f"{cause.rank}. {100.0 * cause.probability:.0f} %  {cause.cause}", WIDTH)
        for title, note in (("test", cause.test), ("remedy", cause.remedy)):
            if note and str(note):
                lines += textwrap.wrap(f"{title}: {note}", WIDTH, initial_indent="   ", subsequent_indent="   ")
        causes.append("\n".join(lines))
    return _joined(
        diagnosis.reference,
        _levels(diagnosis.computed),
        "Causes, likeliest first\n" + "\n".join(causes),
        bullets("Cautions", map(str, diagnosis.cautions)),
        bullets("Assumed", map(str, diagnosis.assumptions)),
    )


def estimate_rows(estimates: Sequence[Estimate]) -> list[list[str]]:
    """A row for each parameter, the head first."""
    rows = [["", "library", "fitted", "left", ""]]
    for one in estimates:
        left = f"{100.0 * one.sigma_share:.0f} %"
        name = PARAMETERS.get(one.name, one.name)
        rows.append([name, _interval(one.library), _interval(one.fitted), left, "" if one.informative else "not told"])
    return rows


def residual_rows(fit: Fit) -> list[list[str]]:
    """A row for each reading, the head first."""
    rows = [["#", "class", "gap mm", "tilt deg", "state", "read", "fitted", "off", "expected", ""]]
    for one in fit.fit.residuals:
        numbers = (one.measured_db, one.fitted_db, one.residual_db, one.sigma_db)
        rows.append(
            [
                str(one.index),
                one.detector_class,
                shown(one.gap_mm),
                shown(one.tilt_deg),
                STATES.get(one.state, one.state),
                *(f"{value:.1f}" for value in numbers),
                "outlier" if one.outlier else "",
            ]
        )
    return rows


def level_rows(predicted: Recommendation) -> list[list[str]]:
    """A row for each state with its spread and margin, the head first."""
    rows = [["", "1 %", "median", "99 %", "margin"]]
    for result in predicted.sheets[:1]:
        for state, name in STATES.items():
            spread: Percentiles = getattr(result.signal, state)
            numbers = (spread.p1, spread.p50, spread.p99, getattr(result.margin, state))
            rows.append([name, *(f"{value:.1f}" for value in numbers)])
    return rows


def _levels(predicted: Recommendation) -> str:
    head = VERDICTS.get(predicted.verdict, predicted.verdict)
    setup = predicted.setups[0] if predicted.setups else None
    if setup is None:
        return head
    place = f"{setup.detector_class.id}, gap {setup.geometry.gap_mm} mm"
    if setup.geometry.tilt_deg:
        place += f", tilt {setup.geometry.tilt_deg} degrees"
    place += f", one sheet from {setup.profile.band}"
    limits = [why.text for why in predicted.reasons if why.code == predicted.limited_by]
    told = [line for text in (head, *limits) for line in textwrap.wrap(text, WIDTH)]
    return "\n".join([*told, place, table(level_rows(predicted), right=range(1, 5))])


def _map(prediction: Prediction) -> str:
    found = prediction.gap_tilt
    if found is None:
        return ""
    head = ["gap mm", *(f"{tilt:g} deg" for tilt in found.tilt_deg)]
    rows = [
        [f"{gap:g}", *(f"{value:.1f}" for value in row)] for gap, row in zip(found.gap_mm, found.margin, strict=False)
    ]
    return "Least margin over gap and tilt\n" + table([head, *rows], right=range(len(head)))


def _positions(prediction: Prediction) -> str:
    if not prediction.positions:
        return ""
    rows = [[shown(one.position_mm), shown(one.single)] for one in prediction.positions]
    return "One sheet over its position\n" + table([["mm", "dB"], *rows], right=(0, 1))


def _grammages(prediction: Prediction) -> str:
    if not prediction.grammages:
        return ""
    head = ["g/m2", "one sheet", "two sheets", "margin of one", "of two"]
    rows = [
        [shown(g.grammage_gsm), *map(shown, (g.single.p50, g.double.p50, g.margin.single, g.margin.double))]
        for g in prediction.grammages
    ]
    return "Medians over the grammage\n" + table([head, *rows], right=range(5))


def _choice(name: str, fit: Fit) -> list[str]:
    answer = fit.library if name == "library" else fit.fitted
    best = answer.best
    if best is None or not best.setups:
        return [name, answer.verdict, "-", "-", "-"]
    setup = best.setups[0]
    tilt = setup.geometry.tilt_deg
    return [
        name,
        f"{answer.verdict}, {percent(best.chance)}",
        setup.detector_class.id,
        shown(setup.geometry.gap_mm.nominal),
        shown(tilt.nominal if tilt else None),
    ]


def _interval(interval: FittedInterval) -> str:
    return f"{interval.nominal:.3g} ({interval.low:.3g} to {interval.high:.3g})"


def _joined(*sections: str | None) -> str:
    return "\n\n".join(section for section in sections if section)
