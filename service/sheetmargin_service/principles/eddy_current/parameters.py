"""What describes an eddy-current class, with a coil on either side or both on one."""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class EddyCurrentParameters:
    """Two equal coaxial air-cored coils of rectangular section: one either side of the sheet, or both on one side.

    The coils lie `recess_mm` behind the face. With a coil on either side the gap is face to face and the signal is
    the attenuation of the open path; on one side it is face to sheet, and the signal is the change of coupling in
    per cent of the open one. `floor_db` is the open path over what is left with the coupling gone: noise, crosstalk
    and field that finds its way round the sheet's edge, at `reference_gap_mm`. `drift_db` is the half width (95 %)
    of the open path between two teachings; with `taught_on_sheet` the gain is set on one sheet of each job, so that it
    reads what was computed whatever its alloy. `hold_mm` is how well the sheet keeps its distance to a one-sided face
    that it is pressed to (half width, 95 %); none where the line's own flutter applies. A steady field beside the coils
    may saturate steel up to `saturated_mm` in all: what is left of its permeability is `saturated_permeability`.
    """

    frequency_hz: float
    coil_inner_radius_mm: float
    coil_outer_radius_mm: float
    coil_length_mm: float
    recess_mm: float
    reference_gap_mm: float
    floor_db: float
    drift_db: float
    taught_on_sheet: bool
    hold_mm: float | None = None
    gap_min_mm: float
    gap_max_mm: float
    reading_interval_ms: float
    response_ms: float
    saturated_permeability: float | None = None
    saturated_mm: float | None = None

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "frequency_hz between 10 and 5e6": 10 <= self.frequency_hz <= 5e6,
                "0 < coil_inner_radius_mm < coil_outer_radius_mm": (
                    0 < self.coil_inner_radius_mm < self.coil_outer_radius_mm
                ),
                "coil_length_mm above 0": self.coil_length_mm > 0,
                "recess_mm above 0": self.recess_mm > 0,
                "0 <= gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 <= self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "floor_db above 0": self.floor_db > 0,
                "drift_db above 0": self.drift_db > 0,
                "saturated_permeability from 1 with saturated_mm above 0, or neither": (
                    (self.saturated_permeability is None and self.saturated_mm is None)
                    or ((self.saturated_permeability or 0.0) >= 1.0 and (self.saturated_mm or 0.0) > 0.0)
                ),
                "hold_mm above 0 or none": self.hold_mm is None or self.hold_mm > 0,
                "reading_interval_ms of at least one period": self.reading_interval_ms >= 1e3 / self.frequency_hz,
            },
        )
