"""The answer as an engineer reads it: plain text, 100 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from sheetmargin.answer import Answer, Percentiles, Profile, Recommendation, Setup, SheetResult, SheetSummary

WIDTH = 100

VERDICTS = {
    "suitable": "suitable: the targets are met over the whole interval of what is uncertain",
    "trial": "trial: promising; only a bench trial can tell",
    "unsuitable": "unsuitable: nothing admitted tells none, one and two sheets apart",
}


def report(answer: Answer) -> str:
    """Verdict, sheets, ranked set-ups, levels and margins, then the notes; sections without content are left out."""
    sections = [
        _head(answer),
        _setups(answer.recommendations),
        _levels(answer),
        _bullets("Why number 1", map(str, answer.best.reasons if answer.best else ())),
        _bullets("Not placed", _unplaced(answer)),
        _bullets("Trial", map(str, answer.trial)),
        _bullets("Cautions", map(str, answer.cautions)),
        _bullets("Assumed", map(str, answer.assumptions)),
        _bullets("Rejected", (f"{one.detector_class}: {one}" for one in answer.rejected)),
    ]
    return "\n\n".join(section for section in sections if section)


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Rows, the first of them the head, in columns as wide as they need; those numbered in `right` are set right."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = (
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    )
    return "\n".join(line.rstrip() for line in lines)


def _head(answer: Answer) -> str:
    lines = [f"{answer.reference}"] if answer.reference else []
    lines += textwrap.wrap(VERDICTS.get(answer.verdict or "", answer.verdict or "no verdict"), WIDTH)
    lines += [_sheet(sheet, named=len(answer.sheets) > 1) for sheet in answer.sheets]
    return "\n".join(lines)


def _sheet(sheet: SheetSummary, *, named: bool) -> str:
    sizes = [(sheet.grammage_gsm, "g/m2"), (sheet.thickness_um, "um"), (sheet.density_kg_m3, "kg/m3")]
    parts = [sheet.material or "sheet", *(f"{value:g} {unit}" for value, unit in sizes if value is not None)]
    text = ", ".join(parts)
    return f"{_name(sheet)}: {text}" if named or sheet.label else text


def _name(sheet: SheetSummary) -> str:
    return sheet.label or f"sheet {sheet.index}"


def _setups(recommendations: Sequence[Recommendation]) -> str:
    rows = [["#", "class", "gap mm", "tilt deg", "one sheet reads", "verdict"]]
    for recommendation in recommendations:
        for position, setup in enumerate(recommendation.setups):
            first = position == 0
            rank, verdict = (_text(recommendation.rank), _text(recommendation.verdict)) if first else ("", "")
            rows.append([rank, _class(setup), *_geometry(setup), _band(setup.profile), verdict])
    if len(rows) == 1:
        return ""
    illustrative = any(setup.detector_class.illustrative for one in recommendations for setup in one.setups)
    return table(rows) + ("\n* an illustrative class, invented; no product" if illustrative else "")


def _class(setup: Setup) -> str:
    illustrative = " *" if setup.detector_class.illustrative else ""
    return _text(setup.detector_class.id) + illustrative


def _geometry(setup: Setup) -> list[str]:
    tilt = setup.geometry.tilt_deg
    return [str(setup.geometry.gap_mm), "-" if tilt is None else str(tilt)]


def _band(profile: Profile) -> str:
    edges = profile.single_band_attenuation_db
    return f"{edges[0]:g} to {edges[-1]:g} dB" if edges else _text(profile.id)


def _levels(answer: Answer) -> str:
    """Levels as median (1 % to 99 %) and the margin of each state, one table for each quantity that is read."""
    quantities: dict[str, list[tuple[Recommendation, SheetResult]]] = {}
    for one in answer.recommendations:
        for sheet in one.sheets:
            quantity = f"{(sheet.signal.quantity or 'signal').capitalize()} in {sheet.signal.unit or 'its unit'}"
            quantities.setdefault(quantity, []).append((one, sheet))
    title = "{}: median (1 % to 99 % of events), then the margins to the edge of the band"
    return "\n\n".join(
        f"{title.format(quantity)}\n{_level_table(answer, rows)}" for quantity, rows in quantities.items()
    )


def _level_table(answer: Answer, results: Sequence[tuple[Recommendation, SheetResult]]) -> str:
    """The sheet is named only where there are several."""
    names = {sheet.index: _name(sheet) for sheet in answer.sheets}
    many = len(names) > 1
    head = ["#", *(["sheet"] if many else []), "no sheet", "one sheet", "two sheets", "none", "one", "two"]
    rows = [head]
    for one, sheet in results:
        name = [textwrap.shorten(names.get(sheet.index, f"sheet {sheet.index}"), 12, placeholder="..")] if many else []
        rows.append([_text(one.rank), *name, *_states(sheet)])
    return table(rows, right=range(len(head) - 3, len(head)))


def _states(sheet: SheetResult) -> list[str]:
    signal, margin = sheet.signal, sheet.margin
    levels = [_spread(state) for state in (signal.no_sheet, signal.single, signal.double)]
    margins = ["-" if value is None else f"{value:.1f}" for value in (margin.no_sheet, margin.single, margin.double)]
    return levels + margins


def _spread(state: Percentiles) -> str:
    if state.p50 is None:
        return "-"
    if state.p1 is None or state.p99 is None:
        return f"{state.p50:.1f}"
    return f"{state.p50:.1f} ({state.p1:.1f} to {state.p99:.1f})"


def _unplaced(answer: Answer) -> Iterable[str]:
    names = {sheet.index: _name(sheet) for sheet in answer.sheets}
    for one in answer.recommendations:
        for sheet in one.unplaced:
            yield f"{names.get(sheet.index, f'sheet {sheet.index}')} by number {one.rank}: {sheet}"


def _bullets(title: str, texts: Iterable[str]) -> str:
    lines = [
        line
        for text in texts
        for line in textwrap.wrap(text, WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    ]
    return "\n".join([title, *lines]) if lines else ""


def _text(value: object) -> str:
    return "-" if value is None else str(value)
