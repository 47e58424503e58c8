"""Metric threads of housings: the hole a bracket needs.

References
----------
[1] ISO 261:1998, general plan of metric screw threads.
[2] ISO 724:1993, basic dimensions.
[3] ISO 273:1979, clearance holes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from math import sqrt

from sheetmargin_service.tables import load_table


@dataclass(frozen=True, kw_only=True)
class Thread:
    """One thread of the general plan [1]. `hole_mm` is its clearance hole, fine series [3]."""

    major_mm: float
    pitch_mm: float
    hole_mm: float

    @property
    def minor_mm(self) -> float:
        """Minor diameter D1 of the internal thread [2]: D - 2 * 5/8 H, with the triangle's height H = sqrt(3)/2 P."""
        return self.major_mm - 1.25 * 0.5 * sqrt(3.0) * self.pitch_mm

    @property
    def pitch_diameter_mm(self) -> float:
        """Pitch diameter D2 [2]: D - 2 * 3/8 H."""
        return self.major_mm - 0.75 * 0.5 * sqrt(3.0) * self.pitch_mm


@cache
def _table() -> dict[float, tuple[tuple[float, ...], float]]:
    rows = load_table(__package__, "data/threads.toml")["thread"]
    return {float(row["major_mm"]): (tuple(row["pitches_mm"]), row["hole_mm"]) for row in rows}


def metric_thread(*, designation: str, pitch_mm: float | None) -> Thread | None:
    """The thread of a designation such as M18, without a pitch the coarse one. None: no such thread is tabled here."""
    number = re.fullmatch(r"M(\d+(?:\.\d+)?)", designation)
    row = _table().get(float(number[1])) if number else None
    if number is None or row is None:
        return None
    pitches, hole = row
    pitch = pitches[0] if pitch_mm is None else pitch_mm
    return Thread(major_mm=float(number[1]), pitch_mm=pitch, hole_mm=hole) if pitch in pitches else None
