"""Answers as a notebook shows them: the text of the terminal, and the picture where matplotlib is installed."""

from __future__ import annotations

from html import escape

from sheetmargin.contract.answer import Answer, Recommendation
from sheetmargin.contract.measure import Fit, Prediction
from sheetmargin.errors import PlotsNotInstalled
from sheetmargin.report import render
from sheetmargin.report.words import Words


def written(answer: object) -> str:
    """Any answer that a person reads."""
    drawn = answer.best if isinstance(answer, Answer) else answer
    words = Words(language=answer.language or "en") if isinstance(answer, Answer) else None
    picture = _picture(drawn, words) if isinstance(drawn, Prediction | Fit | Recommendation) else ""
    return f"{picture}<pre>{escape(render.written(answer))}</pre>"


def _picture(answer: Prediction | Fit | Recommendation, words: Words | None) -> str:
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
        return f"<div>{svg(plot_of(answer, words))}</div>"
    except PlotsNotInstalled:
        return ""
