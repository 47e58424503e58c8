"""Parts of answers that tests of texts need."""

from __future__ import annotations

from sheetmargin.contract.answer import SheetSummary


def sheet_of(
    material: str, *, thickness_um: float, grammage_gsm: float = 100.0, label: str | None = None, like: str = ""
) -> SheetSummary:
    """A sheet as an answer tells it, before it is encoded."""
    return SheetSummary(
        index=0,
        label=label,
        material=material,
        grammage_gsm=grammage_gsm,
        thickness_um=thickness_um,
        density_kg_m3=1e3 * grammage_gsm / thickness_um,
        made_of=like,
    )
