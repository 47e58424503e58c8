"""The surroundings of a detector pair, every default filled in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from sheetmargin_service.acoustics.air import Air, humid_air

_air = lru_cache(maxsize=256)(humid_air)


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """What the line and the air do to the signal. Flutter values are half widths that hold 95 %.

    `body_through_frame`: bodies may reach beyond the clearances, so that only their faces must stay within. `bed`:
    whether something carries the sheet below, `dusty` whether dust or fibre flies; None where it is not known.
    """

    temperature_min_c: float
    temperature_max_c: float
    relative_humidity_min_pct: float
    relative_humidity_max_pct: float
    pressure_kpa: float
    flutter_mm: float
    flutter_deg: float
    max_tilt_deg: float
    clearance_above_mm: float | None
    clearance_below_mm: float | None
    body_through_frame: bool = False
    bed: bool | None = None
    dusty: bool | None = None

    def mean_air(self) -> Air:
        """Air in the middle of the ranges."""
        return _air(
            temperature_c=0.5 * (self.temperature_min_c + self.temperature_max_c),
            relative_humidity_pct=0.5 * (self.relative_humidity_min_pct + self.relative_humidity_max_pct),
            pressure_kpa=self.pressure_kpa,
        )

    def corner_airs(self) -> tuple[Air, ...]:
        """Air at the four corners of the ranges."""
        return tuple(
            _air(temperature_c=t, relative_humidity_pct=h, pressure_kpa=self.pressure_kpa)
            for t in (self.temperature_min_c, self.temperature_max_c)
            for h in (self.relative_humidity_min_pct, self.relative_humidity_max_pct)
        )
