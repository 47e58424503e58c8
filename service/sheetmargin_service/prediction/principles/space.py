"""Room on the line for two faces, and room between them for the sheet."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.principles.base import Fact, Settings

Array = NDArray[np.float64]

GAPS = 7
"""Gaps searched over a class's range."""


def gaps(gap_min_mm: float, gap_max_mm: float) -> Array:
    """The gaps at which a class is searched; one where it has no range."""
    return np.linspace(gap_min_mm, gap_max_mm, GAPS if gap_max_mm > gap_min_mm else 1)


def level_settings(gap_mm: Array) -> Settings:
    """Gaps without tilt."""
    return Settings(gap_mm=gap_mm, tilt_deg=np.zeros_like(gap_mm), tilts=False)


def gaps_on_line(gap_mm: Array, conditions: Conditions, *, least_side_mm: float) -> NDArray[np.intp] | Fact:
    """Indices of the gaps that fit the line with the sheet in the middle: on each side at least `least_side_mm` beyond
    the flutter, at most the line's own clearance."""
    side = 0.5 * gap_mm
    fits = side >= conditions.flutter_mm + least_side_mm
    for clearance in (conditions.clearance_above_mm, conditions.clearance_below_mm):
        if clearance is not None:
            fits &= side <= clearance
    if fits.any():
        return np.flatnonzero(fits)
    return Fact(
        code="does-not-fit",
        values={
            "gap_min_mm": float(gap_mm.min()),
            "clearance_above_mm": conditions.clearance_above_mm,
            "clearance_below_mm": conditions.clearance_below_mm,
        },
    )


def double_height_mm(sheet: Sheet) -> float:
    """Height of a double with the air that 95 % of doubles do not exceed."""
    plies = sheet.double_plies
    return (plies * sheet.thickness_um + (plies - 1) * sheet.trapped_air.p95_um) * 1e-3


def too_narrow(sheet: Sheet, gap_mm: Array, *, clearance_mm: float) -> NDArray[np.bool_]:
    """Where a double would touch the faces: (N,)."""
    return np.asarray(double_height_mm(sheet) + 2.0 * clearance_mm > gap_mm)


def too_thick(sheet: Sheet, settings: Settings, *, clearance_mm: float) -> Fact | None:
    """Why no setting has room for a double, or None."""
    if not too_narrow(sheet, settings.gap_mm, clearance_mm=clearance_mm).all():
        return None
    return Fact(
        code="too-thick-for-gap",
        values={
            "double_mm": round(double_height_mm(sheet), 3),
            "clearance_mm": clearance_mm,
            "gap_max_mm": float(settings.gap_mm.max()),
        },
    )
