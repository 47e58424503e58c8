"""What describes an optical class."""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.contract.fields import about

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class OpticalParameters:
    """An infrared emitter and receiver, each behind a diffusing window, so that the light is diffuse before the sheet.

    Attenuation is counted from the open path at the same gap, 10 lg of power. `floor_db` is the open path at
    `reference_gap_mm` over noise, stray light and what passes the sheet's edge; it falls with the square of the gap.
    `position_db_per_mm` is how a sheet's height between the windows moves the reading. `overload_db` is the attenuation
    of the open path, likewise, above which the receiver is overloaded: what takes less reads alike.
    """

    wavelength_nm: float = field(metadata=about(ge=700, le=1700))
    spot_diameter_mm: float = field(metadata=about(gt=0))
    reference_gap_mm: float
    floor_db: float = field(metadata=about(gt=0))
    resolution_db: float = field(metadata=about(gt=0))
    drift_db: float = field(metadata=about(gt=0))
    position_db_per_mm: float = field(metadata=about(ge=0))
    gap_min_mm: float = field(metadata=about(gt=0))
    gap_max_mm: float
    reading_interval_ms: float = field(metadata=about(gt=0))
    response_ms: float = field(metadata=about(gt=0))
    overload_db: float = field(default=0.0, metadata=about(ge=0))

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "0 < gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 < self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "0 < resolution_db < floor_db": 0 < self.resolution_db < self.floor_db,
                "0 <= overload_db < floor_db": 0 <= self.overload_db < self.floor_db,
            },
        )
