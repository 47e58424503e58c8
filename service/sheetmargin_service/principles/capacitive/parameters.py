"""What describes a capacitive class."""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.contract.fields import about

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class CapacitiveParameters:
    """Two parallel guarded electrodes, the sheet between them.

    `resolution_ff` is one standard deviation of a reading. `gap_drift_um` is the half width (95 %) by which the
    bracket's gap moves between two teachings while its temperature stays, `bracket_um_per_k` by how much each kelvin
    moves it. The electrodes are driven at `drive_v`; of a charge that a sheet carries past them the amplifier takes
    `static_rejection_db` away.
    """

    frequency_hz: float = field(metadata=about(ge=1e3, le=1e8))
    electrode_width_mm: float = field(metadata=about(gt=0))
    electrode_length_mm: float = field(metadata=about(gt=0))
    resolution_ff: float = field(metadata=about(gt=0))
    gap_drift_um: float = field(metadata=about(gt=0))
    gap_min_mm: float = field(metadata=about(gt=0))
    gap_max_mm: float
    reading_interval_ms: float = field(metadata=about(gt=0))
    response_ms: float = field(metadata=about(gt=0))
    bracket_um_per_k: float = field(default=1.8, metadata=about(ge=0))
    drive_v: float = field(default=10.0, metadata=about(gt=0))
    static_rejection_db: float = field(default=114.0, metadata=about(ge=0, le=160))

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "0 < gap_min_mm <= gap_max_mm": 0 < self.gap_min_mm <= self.gap_max_mm,
                "electrode_width_mm and electrode_length_mm at least 4 times gap_max_mm": (
                    min(self.electrode_width_mm, self.electrode_length_mm) >= 4 * self.gap_max_mm
                ),
            },
        )
