"""What describes an optical class."""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class OpticalParameters:
    """An infrared emitter and receiver, each behind a diffusing window, so that the light is diffuse before the sheet.

    Attenuation is counted from the open path at the same gap, 10 lg of power. `floor_db` is the open path at
    `reference_gap_mm` over noise, stray light and what passes the sheet's edge; it falls with the square of the gap.
    `position_db_per_mm` is how a sheet's height between the windows moves the reading. `overload_db` is the attenuation
    of the open path, likewise, above which the receiver is overloaded: what takes less reads alike.
    """

    wavelength_nm: float
    spot_diameter_mm: float
    reference_gap_mm: float
    floor_db: float
    resolution_db: float
    drift_db: float
    position_db_per_mm: float
    gap_min_mm: float
    gap_max_mm: float
    reading_interval_ms: float
    response_ms: float
    overload_db: float = 0.0

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "wavelength_nm between 700 and 1700": 700 <= self.wavelength_nm <= 1700,
                "spot_diameter_mm above 0": self.spot_diameter_mm > 0,
                "0 < gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 < self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "0 < resolution_db < floor_db": 0 < self.resolution_db < self.floor_db,
                "0 <= overload_db < floor_db": 0 <= self.overload_db < self.floor_db,
                "drift_db above 0": self.drift_db > 0,
                "position_db_per_mm not negative": self.position_db_per_mm >= 0,
            },
        )
