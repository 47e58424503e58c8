"""Room on the line for two faces, and room between them for the sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.detectors.model import Housing
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Fact, Places, Scalar, Settings

Array = NDArray[np.float64]

GAPS = 7
"""Gaps searched over a class's range."""
SIDES = ("above", "below")
GAP_SET_MM = 1.0
"""A gap is set by a rule, to a millimetre (common practice, no source)."""
ALIGNED_HALF_ANGLES = 0.7
"""A face turned by so many half angles of its beam has lost 1 dB at any gap (within 2 % over the reference classes).
Alignment leaves no more, with 95 % (a choice, stated)."""


def gaps(limits_mm: tuple[float, float], at: Places | None) -> Array:
    """The gaps of a class that stands; else those at which it is searched, as they are told: to a tenth between the
    ends of its range; one where it has no range."""
    if at is not None:
        return np.array(at.gap_mm)
    least, most = limits_mm
    between = np.round(np.linspace(least, most, GAPS)[1:-1], 1)
    inside = between[(between > least) & (between < most)]
    return np.unique(np.array([least, *inside, most]))


def level_settings(gap_mm: Array) -> Settings:
    """Gaps without tilt."""
    return Settings(gap_mm=gap_mm, tilt_deg=np.zeros_like(gap_mm), tilts=False)


def behind_face_mm(housing: Housing, conditions: Conditions) -> float:
    """What body and cable take of the clearance behind the face; nothing where they reach through the frame."""
    return 0.0 if conditions.body_through_frame else housing.depth_mm


def gaps_on_line(
    gap_mm: Array, conditions: Conditions, *, housing: Housing, least_side_mm: float
) -> NDArray[np.intp] | Fact:
    """Indices of the gaps that fit the line with the sheet in the middle: on each side at least `least_side_mm` beyond
    the flutter, and with the head at most the line's own clearance."""
    side = 0.5 * gap_mm
    clear = side >= conditions.flutter_mm + least_side_mm
    if not clear.any():
        return Fact(code="does-not-fit", values={"gap_min_mm": float(gap_mm.min())})
    needed = side + behind_face_mm(housing, conditions)
    free = _free_mm(conditions)
    fits = clear & np.all([needed <= clearance for clearance in free.values()], axis=0)
    return np.flatnonzero(fits) if fits.any() else _no_room(float(needed[clear].min()), free, conditions)


def room_on_both_sides(distance_mm: float, conditions: Conditions, *, housing: Housing) -> Fact | None:
    """Why a head on either side, `distance_mm` from the sheet, does not fit; None where it does."""
    needed, free = distance_mm + behind_face_mm(housing, conditions), _free_mm(conditions)
    return None if all(needed <= clearance for clearance in free.values()) else _no_room(needed, free, conditions)


def distances_on_one_side(
    distance_mm: Array, conditions: Conditions, *, housing: Housing, sides: Sequence[str] = SIDES
) -> NDArray[np.intp] | Fact:
    """Indices of the distances from the sheet at which the only head fits on one of the sides that it may be on."""
    needed = distance_mm + behind_face_mm(housing, conditions)
    free = {side: clearance for side, clearance in _free_mm(conditions).items() if side in sides}
    roomiest = max(free.values()) if len(free) == len(sides) else np.inf
    fits = needed <= roomiest
    if fits.any():
        return np.flatnonzero(fits)
    return _no_room(float(needed.min()), {side: c for side, c in free.items() if c == roomiest}, conditions)


def _free_mm(conditions: Conditions) -> dict[str, float]:
    """The clearances that are known, by their side."""
    given = zip(SIDES, (conditions.clearance_above_mm, conditions.clearance_below_mm), strict=True)
    return {side: clearance for side, clearance in given if clearance is not None}


def _no_room(needed_mm: float, free_mm: Mapping[str, float], conditions: Conditions) -> Fact:
    """That a head does not fit, told of the tightest side."""
    side = min(free_mm, key=lambda side: free_mm[side])
    through = conditions.body_through_frame
    return no_room(side=side, needed_mm=needed_mm, available_mm=free_mm[side], through_frame=through)


def no_room(*, side: str, needed_mm: float, available_mm: float, through_frame: bool) -> Fact:
    """That a head, or its face alone where the body reaches through the frame, does not fit on a side of the sheet."""
    values: dict[str, Scalar] = {
        "side": side,
        "needed_mm": round(needed_mm, 1),
        "available_mm": round(available_mm, 1),
    }
    return Fact(code="no-room-for-face" if through_frame else "no-room-for-head", values=values)


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
