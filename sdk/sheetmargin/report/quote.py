"""An outcome as one row of a table: what a quote needs, and of a bad question its problem."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from importlib import import_module
from typing import Any, Literal

from sheetmargin.contract.answer import Answer, Order, Recommendation
from sheetmargin.contract.problem import Fault
from sheetmargin.errors import ExtraNotInstalled
from sheetmargin.outcome import Outcome
from sheetmargin.report.nothing import nothing_considered
from sheetmargin.report.view import View

COLUMNS = {
    **dict.fromkeys(("verdict", "detector_class", "principle", "illustrative"), str),
    **dict.fromkeys(("set_ups", "gap_mm", "tilt_deg", "single_from", "single_to"), float),
    "unit": str,
    **dict.fromkeys(("margin", "double_as_single_ppm", "single_as_double_ppm"), float),
    **dict.fromkeys(("order", "why", "trial", "assumed", "model_version", "catalogue_version"), str),
    **dict.fromkeys(("problem_field", "problem"), str),
}
"""Names and what they hold. `single_from` and `single_to` are the receiver's band for one sheet, `margin` is the least
of the three states'."""


def row_of(outcome: Outcome) -> dict[str, str | int | float | None]:
    """The columns of `COLUMNS`; those that do not apply are None."""
    row: dict[str, str | int | float | None] = dict.fromkeys(COLUMNS)
    if outcome.answer is None:
        assert outcome.error is not None
        faults = outcome.error.errors
        row["problem_field"] = faults[0].pointer if faults else None
        row["problem"] = problem_text(faults) or outcome.error.message
        return row
    answer = outcome.answer
    row |= {
        "verdict": answer.verdict,
        "model_version": answer.model_version,
        "catalogue_version": answer.catalogue_version,
        "trial": " ".join(map(str, answer.trial)) or None,
        "assumed": "; ".join(note.pointer or note.code for note in answer.assumptions) or None,
    }
    if answer.best is None:
        nothing = nothing_considered(answer, View(language=answer.language or None))
        reasons = [f"{one.detector_class}: {one}" for one in answer.ruled_out]
        row["why"] = " ".join([nothing, *reasons] if nothing else reasons) or None
    else:
        row |= _best(answer.best)
    return row


def rows_of(answer: Answer) -> list[dict[str, str | int | float | None]]:
    """A row for each recommendation, best first."""
    return [
        {"rank": one.rank, "verdict": one.verdict, "chance": one.chance, **_best(one)} for one in answer.recommendations
    ]


def frame_of(answer: Answer, library: Literal["pandas", "polars"]) -> Any:
    """The rows as a frame of the library, which has to be installed."""
    try:
        return import_module(library).DataFrame(rows_of(answer))
    except ModuleNotFoundError as error:
        raise ExtraNotInstalled(f"{library} is not installed:\n  pip install {library}") from error


def _best(best: Recommendation) -> dict[str, str | int | float | None]:
    setup = best.setups[0]
    result = next((sheet for sheet in best.sheets if sheet.setup == setup.index), None)
    row: dict[str, str | int | float | None] = {
        "detector_class": setup.detector_class.id,
        "principle": setup.detector_class.principle,
        "illustrative": str(setup.detector_class.illustrative).lower(),
        "set_ups": len(best.setups),
        "gap_mm": setup.geometry.gap_mm.nominal,
        "tilt_deg": setup.geometry.tilt_deg.nominal if setup.geometry.tilt_deg else None,
        "single_from": setup.profile.band.low,
        "single_to": setup.profile.band.high,
        "order": order_text([line for one in best.setups for line in one.order_items]),
        "why": " ".join(str(reason) for reason in (*best.not_served, *best.reasons)) or None,
    }
    if result is not None:
        row |= {
            "unit": result.signal.unit,
            "margin": min(result.margin.no_sheet, result.margin.single, result.margin.double),
            "double_as_single_ppm": result.misread_ppm.double_as_single.estimate,
            "single_as_double_ppm": result.misread_ppm.single_as_double.estimate,
        }
    return row


def problem_text(faults: Sequence[Fault]) -> str:
    """Faults in one cell; a contradiction, which each of its fields is told, once with all of them."""
    places: dict[Fault, list[str]] = {}
    for fault in faults:
        places.setdefault(replace(fault, pointer=None), []).append(fault.pointer or "")
    return "; ".join(str(replace(fault, pointer=", ".join(filter(None, names)))) for fault, names in places.items())


def order_text(lines: Sequence[Order]) -> str:
    """Order lines in one cell: `1 x emitter T-100-E, 2 x cable`."""
    return ", ".join(" ".join(filter(None, (f"{line.quantity} x {line.role}", line.part_number))) for line in lines)
