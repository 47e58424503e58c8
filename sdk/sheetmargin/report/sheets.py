"""What sheets are called in a report."""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin.contract.answer import (
    SheetSummary,
)
from sheetmargin.contract.notes import Assumption
from sheetmargin.report.view import View

SIZE_FROM_DENSITY = ("thickness-from-density", "grammage-from-density")
"""Codes of the assumptions that a size follows from the material's density."""


def described(sheet: SheetSummary, assumptions: Sequence[Assumption], view: View) -> str:
    """`cover: copy paper, 80 g/m² (103 µm, from typical density)`."""
    figures = view.figures
    sizes = {"g/m²": figures.grammage(sheet.grammage_gsm), "µm": figures.thickness(sheet.thickness_um)}
    other = sizes["µm"] if "g/m²" in sheet.made_of else sizes["g/m²"]
    pointers = (f"/sheets/{sheet.index}/", "/sheet/")
    typical = any(one.code in SIZE_FROM_DENSITY and (one.pointer or "").startswith(pointers) for one in assumptions)
    size = f"{other}, {view.words('typical-density')}" if typical else other
    return f"{label_of(sheet)} ({size})"


def label_of(sheet: SheetSummary) -> str:
    """By its label and what it is made of; by the id of its material where an older service says no more."""
    made_of = sheet.made_of or sheet.material
    return f"{sheet.label}: {made_of}" if sheet.label else made_of


def names_of(sheets: Sequence[SheetSummary]) -> dict[int, str]:
    """What each sheet is called within a sentence."""
    return {sheet.index: sheet.name or sheet.material for sheet in sheets}
