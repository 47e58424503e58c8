"""Answers as rows of plain values: CSV with the names of the contract, Markdown with heads in the language."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from sheetmargin.contract.answer import Answer, Comparison, Recommendation, Setup, SheetResult
from sheetmargin.contract.library import DetectorClasses, Materials
from sheetmargin.contract.measure import Diagnosis, Fit, Prediction
from sheetmargin.report import sheets
from sheetmargin.report.view import View
from sheetmargin.tables.write import as_text

Record = dict[str, Any]


def records_of(answer: Any) -> list[Record]:
    """A row for each thing that the answer is a list of; a prediction's grid where it has one."""
    return list(RECORDS[type(answer)](answer))


def as_csv(records: Sequence[Record]) -> str:
    """Numbers with a point whatever the language; what a spreadsheet would take for a formula is quoted."""
    file = io.StringIO()
    writer = csv.DictWriter(file, records[0] if records else [], lineterminator="\n")
    writer.writeheader()
    writer.writerows({key: as_text(value) for key, value in record.items()} for record in records)
    return file.getvalue().rstrip("\n")


def as_markdown(records: Sequence[Record], view: View) -> str:
    """A table with the heads in the reader's language."""
    if not records:
        return ""
    heads = [view.words.of("column", key).replace("_", " ") for key in records[0]]
    rows = [heads, ["---"] * len(heads), *([_cell(value, view) for value in record.values()] for record in records)]
    return "\n".join(f"| {' | '.join(view.page.plain(cell) for cell in row)} |" for row in rows)


def _cell(value: Any, view: View) -> str:
    if isinstance(value, float):
        return view.figures.number(value, 2)
    return "" if value is None else str(value).replace("|", "\\|")


def _answer(answer: Answer) -> list[Record]:
    """A row for each sheet of each recommendation, and for each sheet that the best does not serve."""
    names = sheets.names_of(answer.sheets)
    rows: list[Record] = []
    for one in answer.recommendations:
        setups = {setup.index: setup for setup in one.setups}
        rows += [
            {"rank": one.rank, "sheet": names.get(result.index, ""), "verdict": one.verdict, "chance": result.chance}
            | _set(setups.get(result.setup))
            | _read(result)
            for result in one.sheets
        ]
    best = answer.best
    left = best.not_served if best else ()
    rows += [
        dict.fromkeys(rows[0]) | {"sheet": names.get(one.index, ""), "verdict": "unsuitable"} for one in left if rows
    ]
    return rows or [{"sheet": name, "verdict": answer.verdict} for name in names.values()]


def _set(setup: Setup | None) -> Record:
    if setup is None:
        return {}
    geometry, band = setup.geometry, setup.profile.band
    return {
        "detector_class": setup.detector_class.id,
        "gap_mm": geometry.gap_mm.nominal,
        "tilt_deg": geometry.tilt_deg.nominal if geometry.tilt_deg else None,
        "single_from": band.low,
        "single_to": band.high,
        "unit": band.unit,
    }


def _read(result: SheetResult) -> Record:
    margin = result.margin
    return {
        "no_sheet": result.signal.no_sheet.p50,
        "single": result.signal.single.p50,
        "double": result.signal.double.p50,
        "margin": min(margin.no_sheet, margin.single, margin.double),
        "double_as_single_ppm": result.misread_ppm.double_as_single.estimate,
        "single_as_double_ppm": result.misread_ppm.single_as_double.estimate,
    }


def _prediction(prediction: Prediction) -> list[Record]:
    found = prediction.gap_tilt
    if found is not None:
        return [
            {"gap_mm": gap, "tilt_deg": tilt}
            | {name: getattr(found, name)[i][j] for name in ("margin", "single", "double")}
            for i, gap in enumerate(found.gap_mm)
            for j, tilt in enumerate(found.tilt_deg)
        ]
    if prediction.positions:
        return [{"position_mm": one.position_mm, "single": one.single} for one in prediction.positions]
    if prediction.grammages:
        return [
            {"grammage_gsm": one.grammage_gsm, "single": one.single.p50, "double": one.double.p50}
            | {"margin": min(one.margin.single, one.margin.double)}
            for one in prediction.grammages
        ]
    return _levels(prediction.predicted)


def _levels(one: Recommendation) -> list[Record]:
    rows = []
    for result in one.sheets[:1]:
        for state in ("no_sheet", "single", "double"):
            spread = getattr(result.signal, state)
            margin = getattr(result.margin, state)
            levels = {"p1": spread.p1, "p50": spread.p50, "p99": spread.p99}
            rows.append({"state": state, **levels, "margin": margin, "unit": result.signal.unit})
    return rows


def _fit(fit: Fit) -> list[Record]:
    return [
        {"estimate": one.name}
        | {f"library_{end}": getattr(one.library, end) for end in ("low", "nominal", "high")}
        | {f"fitted_{end}": getattr(one.fitted, end) for end in ("low", "nominal", "high")}
        | {"informative": one.informative}
        for one in fit.fit.estimates
    ]


def _diagnosis(diagnosis: Diagnosis) -> list[Record]:
    return [
        {"rank": one.rank, "probability": one.probability, "cause": str(one.cause)}
        | {"test": str(one.test or ""), "remedy": str(one.remedy)}
        for one in diagnosis.causes
    ]


def _comparison(comparison: Comparison) -> list[Record]:
    return [
        {"step": one.step, "first": one.first, "second": one.second, "decides": one.decides} for one in comparison.steps
    ]


def _materials(found: Materials) -> list[Record]:
    return [
        {
            "id": one.id,
            "name": one.name,
            "family": one.family,
            "density_low_kg_m3": one.density_kg_m3.low,
            "density_high_kg_m3": one.density_kg_m3.high,
            "thickness_low_um": one.thickness_range_um[0],
            "thickness_high_um": one.thickness_range_um[1],
        }
        for one in found.materials
    ]


def _classes(found: DetectorClasses) -> list[Record]:
    return [
        {
            "id": one.id,
            "principle": one.principle,
            "housing": str(one.housing),
            "frequency_khz": one.frequency_khz,
            "gap_min_mm": one.gap_min_mm,
            "gap_max_mm": one.gap_max_mm,
            "illustrative": one.illustrative,
        }
        for one in found.classes
    ]


RECORDS: Mapping[type, Callable[[Any], list[Record]]] = {
    Answer: _answer,
    Prediction: _prediction,
    Fit: _fit,
    Diagnosis: _diagnosis,
    Comparison: _comparison,
    Materials: _materials,
    DetectorClasses: _classes,
}
