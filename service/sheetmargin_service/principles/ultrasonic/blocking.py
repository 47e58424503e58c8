"""Doubles whose pieces cling to each other: blocking, static, a cut burr that hooks them.

Blocking alone, by a coating, ink or damp, leaves no air where sound passes. Static presses with eps_0 E^2 / 2, which is
40 Pa where air breaks down (30 kV/cm): less than some hundred sheets of the pile that a double came from, so it keeps
the air that these left; and a burr hooks an edge, not the face.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.constants import Z95
from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.principles.draws import drawn

Array = NDArray[np.float64]

FIBROUS, TIGHT, SMOOTH = (1.0, 100.0), (10.0, 1_000.0), (100.0, 10_000.0)
"""Share of doubles that cling, in millionths, 5 to 95 %, log-normal: of fibrous faces, of paper and board that air does
not pass (coated, calendered), of film, foil and labels. Illustrative: nobody has published any."""
BLOCKING = (1_000.0, 100_000.0)
"""Share of doubles without air of sheets that are known to block (a choice, illustrative)."""
AIRLESS = 1.0 / 3.0
"""Share of doubles that cling which have no air between them: each of the three causes is as frequent (a choice,
illustrative)."""
SHARES_PPM = {
    "paper": FIBROUS,
    "board": FIBROUS,
    "textile": FIBROUS,
    "nonwoven": FIBROUS,
    "leather": FIBROUS,
    "wood": FIBROUS,
    "core": FIBROUS,
    "coating": TIGHT,
    "custom": TIGHT,
}
"""By the family of a face; every other family is smooth, but for what is dry and stiff."""
NEVER = ("metal", "glass", "ceramic", "semiconductor")
"""Dry metal and its like do not cling, unless they are foil."""
FOIL_UM = 200.0
"""Metal up to this thickness is foil (EN 12258-1, aluminium)."""


def blocked_share(sheet: Sheet) -> Array:
    """Share of the doubles of a sheet that have no air between them, (draws,): by the face that clings more."""
    if sheet.blocks is False:
        return np.zeros_like(drawn("blocked"))
    low, high = blocked_ppm(sheet)
    if high == 0.0:
        return np.zeros_like(drawn("blocked"))
    middle, width = 0.5 * np.log(low * high), 0.5 * np.log(high / low)
    return np.asarray(np.minimum(1e-6 * np.exp(middle + width / Z95 * drawn("blocked")), 0.5))


def blocked_ppm(sheet: Sheet) -> tuple[float, float]:
    """That share in millionths, 5 to 95 %."""
    if sheet.blocks:
        return BLOCKING
    low, high = max((_share_ppm(layer, sheet) for layer in (sheet.layers[0], sheet.layers[-1])), key=lambda s: s[1])
    return AIRLESS * low, AIRLESS * high


def _share_ppm(layer: SheetLayer, sheet: Sheet) -> tuple[float, float]:
    family = layer.material.family if layer.material else "core"
    if family in NEVER:
        return SMOOTH if family == "metal" and layer.thickness_um <= FOIL_UM else (0.0, 0.0)
    share = SHARES_PPM.get(family, SMOOTH)
    if family in ("paper", "board") and sheet.permeance_um_per_pa_s is None:
        return TIGHT
    return share
