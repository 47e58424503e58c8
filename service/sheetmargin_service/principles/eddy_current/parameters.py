"""What describes an eddy-current class, with a coil on either side or both on one."""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.contract.fields import about

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

    frequency_hz: float = field(metadata=about(ge=10, le=5e6))
    coil_inner_radius_mm: float = field(metadata=about(gt=0))
    coil_outer_radius_mm: float = field(metadata=about(gt=0))
    coil_length_mm: float = field(metadata=about(gt=0))
    recess_mm: float = field(metadata=about(gt=0))
    reference_gap_mm: float
    floor_db: float = field(metadata=about(gt=0))
    drift_db: float = field(metadata=about(gt=0))
    taught_on_sheet: bool
    hold_mm: float | None = field(default=None, metadata=about(gt=0))
    gap_min_mm: float = field(metadata=about(ge=0))
    gap_max_mm: float
    reading_interval_ms: float = field(metadata=about(gt=0))
    response_ms: float = field(metadata=about(gt=0))
    saturated_permeability: float | None = field(default=None, metadata=about(ge=1))
    saturated_mm: float | None = field(default=None, metadata=about(gt=0))

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "0 < coil_inner_radius_mm < coil_outer_radius_mm": (
                    0 < self.coil_inner_radius_mm < self.coil_outer_radius_mm
                ),
                "0 <= gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 <= self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "saturated_permeability with saturated_mm, or neither": (
                    (self.saturated_permeability is None) == (self.saturated_mm is None)
                ),
                "reading_interval_ms of at least one period": self.reading_interval_ms >= 1e3 / self.frequency_hz,
            },
        )
