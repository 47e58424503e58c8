"""Answers as a notebook shows them: tables and lists, and the picture where matplotlib is installed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from sheetmargin.contract.answer import Answer, Recommendation
from sheetmargin.contract.measure import Diagnosis, Fit, Prediction
from sheetmargin.errors import PlotsNotInstalled
from sheetmargin.report.measurement import VERDICTS, estimate_rows, level_rows, residual_rows
from sheetmargin.report.recommendation import report


def written(answer: object) -> str:
    """Any answer that a person reads."""
    match answer:
        case Prediction():
            return prediction_html(answer)
        case Fit():
            return fit_html(answer)
        case Diagnosis():
            return diagnosis_html(answer)
        case Answer():
            return answer_html(answer)
        case _:
            raise TypeError(f"{type(answer).__name__} is no answer")


def answer_html(answer: Answer) -> str:
    """The report of a recommendation, and the levels of the first one."""
    picture = _picture(answer.best) if answer.best else ""
    return picture + f"<pre>{escape(report(answer))}</pre>"


def prediction_html(prediction: Prediction) -> str:
    verdict = VERDICTS.get(prediction.predicted.verdict, prediction.predicted.verdict)
    return "".join(
        [
            f"<p><strong>{escape(verdict)}</strong></p>",
            _table("Levels", level_rows(prediction.predicted)),
            _picture(prediction),
            _list("Why", prediction.predicted.reasons),
            _list("Cautions", prediction.cautions),
        ]
    )


def fit_html(fit: Fit) -> str:
    return "".join(
        [
            _table("The sample, with 90 % intervals", estimate_rows(fit.fit.estimates)),
            _picture(fit),
            _table("Readings in dB", residual_rows(fit)),
            _list("What they say", fit.fit.notes),
            _list("What they change", fit.changed),
            _list("Trial of the fitted sheet", fit.fitted.trial),
            _list("Cautions", fit.fitted.cautions),
        ]
    )


def diagnosis_html(diagnosis: Diagnosis) -> str:
    rows = [["", "probability", "cause", "test", "remedy"]]
    for cause in diagnosis.causes:
        share = f"{100.0 * cause.probability:.0f} %"
        rows.append([str(cause.rank), share, str(cause.cause), str(cause.test or "-"), str(cause.remedy)])
    return _table("Causes, likeliest first", rows) + _list("Cautions", diagnosis.cautions)


def _picture(answer: Prediction | Fit | Recommendation) -> str:
    """The picture of an answer; nothing where matplotlib is not there or the answer has nothing to draw."""
    from sheetmargin.report.plot import plot_of, svg

    match answer:
        case Fit():
            drawable = bool(answer.fit.residuals)
        case Prediction():
            drawable = bool(answer.predicted.sheets)
        case Recommendation():
            drawable = bool(answer.sheets and answer.setups)
    if not drawable:
        return ""
    try:
        return f"<div>{svg(plot_of(answer))}</div>"
    except PlotsNotInstalled:
        return ""


def _table(caption: str, rows: Sequence[Sequence[str]]) -> str:
    head, *body = rows
    cells = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in head)
    lines = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in body)
    return f"<table><caption>{escape(caption)}</caption><thead><tr>{cells}</tr></thead><tbody>{lines}</tbody></table>"


def _list(title: str, notes: Iterable[object]) -> str:
    items = "".join(f"<li>{escape(str(note))}</li>" for note in notes)
    return f"<p>{escape(title)}</p><ul>{items}</ul>" if items else ""
