"""The same sheet, heavier or lighter."""

from __future__ import annotations

from dataclasses import replace

from sheetmargin_service.materials.sheet import Sheet


def scaled(sheet: Sheet, factor: float) -> Sheet:
    """The sheet with its mass times a factor, its densities as they are."""
    return replace(
        sheet,
        layers=tuple(replace(layer, thickness_um=layer.thickness_um * factor) for layer in sheet.layers),
        grammage_gsm=sheet.grammage_gsm * factor,
        thickness_um=sheet.thickness_um * factor,
    )
