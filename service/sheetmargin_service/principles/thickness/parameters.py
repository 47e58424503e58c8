"""What describes a class that measures thickness."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sheetmargin.contract.fields import about

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
    range_um: float = field(metadata=about(ge=100, le=10_000))
    resolution_um: float = field(metadata=about(gt=0))
    runout_um: float = field(metadata=about(gt=0))
    drift_um: float = field(metadata=about(gt=0))
    force_n: float | None = field(default=None, metadata=about(gt=0))
    contact_width_mm: float | None = field(default=None, metadata=about(gt=0))
    contact_length_mm: float | None = field(default=None, metadata=about(gt=0))
    support_mm: float | None = field(default=None, metadata=about(gt=0))
    air_left: float = field(default=1.0, metadata=about(ge=0, le=1))
    spot_diameter_mm: float | None = field(default=None, metadata=about(gt=0))
    spot_offset_mm: float | None = field(default=None, metadata=about(gt=0))
    stand_off_mm: float = field(default=0.0, metadata=about(ge=0))
    reading_interval_ms: float = field(metadata=about(gt=0))
    response_ms: float = field(metadata=about(gt=0))

    def problems(self) -> list[str]:
        roller = (self.force_n, self.contact_width_mm, self.contact_length_mm, self.support_mm)
        laser = (self.spot_diameter_mm, self.spot_offset_mm)
        own, other = (roller, laser) if self.contact == "roller" else (laser, roller)
        return broken_rules(
            self,
            {
                "force_n, contact_width_mm, contact_length_mm and support_mm for a roller; spot_diameter_mm and "
                "spot_offset_mm for a laser": (
                    all(value is not None for value in own) and all(value is None for value in other)
                ),
                "air_left 1 for a laser": self.contact == "roller" or self.air_left == 1,
                "stand_off_mm above 0 for a laser, 0 for a roller": (self.stand_off_mm > 0)
                == (self.contact == "laser"),
            },
        )
