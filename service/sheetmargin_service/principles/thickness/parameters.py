"""What describes a class that measures thickness."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class ThicknessParameters:
    """A thickness gauge: a roller that rides on the sheet, or two opposed laser spots.

    `resolution_um` is one standard deviation of a reading, vibration included; `runout_um` the peak of a roller's
    runout or of the lasers' linearity error; `drift_um` the half width (95 %) between two zeroings.
    A roller presses with `force_n` over `contact_width_mm` x `contact_length_mm` and leaves `air_left` of the air
    between two sheets; what it runs on below the sheet, a bed or a counter roller, is at least `support_mm` high. Laser
    spots have a diameter and miss each other by `spot_offset_mm`; they leave all the air.
    """

    contact: Literal["roller", "laser"]
    range_um: float
    resolution_um: float
    runout_um: float
    drift_um: float
    force_n: float | None = None
    contact_width_mm: float | None = None
    contact_length_mm: float | None = None
    support_mm: float | None = None
    air_left: float = 1.0
    spot_diameter_mm: float | None = None
    spot_offset_mm: float | None = None
    stand_off_mm: float = 0.0
    reading_interval_ms: float
    response_ms: float

    def problems(self) -> list[str]:
        roller = (self.force_n, self.contact_width_mm, self.contact_length_mm, self.support_mm)
        laser = (self.spot_diameter_mm, self.spot_offset_mm)
        own, other = (roller, laser) if self.contact == "roller" else (laser, roller)
        return broken_rules(
            self,
            {
                "range_um between 100 and 10000": 100 <= self.range_um <= 10_000,
                "resolution_um, runout_um and drift_um above 0": (
                    min(self.resolution_um, self.runout_um, self.drift_um) > 0
                ),
                "force_n, contact_width_mm, contact_length_mm and support_mm for a roller; spot_diameter_mm and "
                "spot_offset_mm for a laser": (
                    all(value is not None and value > 0 for value in own) and all(value is None for value in other)
                ),
                "air_left from 0 to 1, and 1 for a laser": (
                    0 <= self.air_left <= 1 and (self.contact == "roller" or self.air_left == 1)
                ),
                "stand_off_mm above 0 for a laser, 0 for a roller": (self.stand_off_mm > 0)
                == (self.contact == "laser"),
            },
        )
