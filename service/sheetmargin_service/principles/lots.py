"""Mass and thickness of a lot: how far their means may lie from what is given, each drawn apart from the other.

What is given has the tolerance of the lot. Where only one of the two is, the other follows by a density that is not
known of this stock, within the range of its grade.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sheetmargin_service.constants import HALF_WIDTH_95, Z95
from sheetmargin_service.materials.sheet import Sheet

LOT_SHARE = 0.75
"""Share of a grade's variance that lies between its lots, and not within one (a choice, stated)."""
FOLLOWS = {"thickness-from-density": "thickness", "grammage-from-density": "mass"}
"""Codes of the assumptions by which the one size follows from the other, and which does."""
Row = tuple[float, float]
"""Relative move by one standard deviation of each of the draws `mass` and `thickness`."""


@dataclass(frozen=True, kw_only=True)
class Lot:
    """Means of a lot by what is drawn."""

    mass: Row
    thickness: Row

    @property
    def density(self) -> Row:
        """Density, to first order."""
        return self.mass[0] - self.thickness[0], self.mass[1] - self.thickness[1]


def lot_of(sheet: Sheet) -> Lot:
    """The lot that a sheet comes from."""
    lot = float(np.sqrt(LOT_SHARE)) / 100.0 / HALF_WIDTH_95
    mass, thickness = lot * sheet.mass_tolerance_pct, lot * sheet.thickness_tolerance_pct
    density = _density_deviation(sheet)
    followed = {FOLLOWS[a.code] for a in sheet.assumptions if a.code in FOLLOWS}
    if "thickness" in followed:
        return Lot(mass=(mass, 0.0), thickness=(mass, -density))
    if "mass" in followed:
        return Lot(mass=(thickness, density), thickness=(thickness, 0.0))
    return Lot(mass=(mass, 0.0), thickness=(0.0, thickness))


def _density_deviation(sheet: Sheet) -> float:
    """Relative standard deviation of the density by which a size follows, its layers apart from each other."""
    parts = []
    for a in sheet.assumptions:
        if a.code in FOLLOWS:
            low, nominal, high = (float(str(a.values[f"density{end}_kg_m3"])) for end in ("_low", "", "_high"))
            share = 1.0
            if a.field.startswith("layers/"):
                layer = sheet.layers[int(a.field.split("/")[1])]
                share = layer.thickness_um / sheet.thickness_um
            parts.append(share * 0.5 * (high - low) / nominal / Z95)
    return float(np.hypot.reduce(parts)) if parts else 0.0
