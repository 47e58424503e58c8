"""What describes a capacitive class."""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class CapacitiveParameters:
    """Two parallel guarded electrodes, the sheet between them.

    `resolution_ff` is one standard deviation of a reading. `gap_drift_um` is the half width (95 %) by which the
    bracket's gap moves between two teachings while its temperature stays, `bracket_um_per_k` by how much each kelvin
    moves it. The electrodes are driven at `drive_v`; of a charge that a sheet carries past them the amplifier takes
    `static_rejection_db` away.
    """

    frequency_hz: float
    electrode_width_mm: float
    electrode_length_mm: float
    resolution_ff: float
    gap_drift_um: float
    gap_min_mm: float
    gap_max_mm: float
    reading_interval_ms: float
    response_ms: float
    bracket_um_per_k: float = 1.8
    drive_v: float = 10.0
    static_rejection_db: float = 114.0

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "frequency_hz between 1e3 and 1e8": 1e3 <= self.frequency_hz <= 1e8,
                "0 < gap_min_mm <= gap_max_mm": 0 < self.gap_min_mm <= self.gap_max_mm,
                "electrodes at least 4 times as wide and long as gap_max_mm": (
                    min(self.electrode_width_mm, self.electrode_length_mm) >= 4 * self.gap_max_mm
                ),
                "resolution_ff above 0": self.resolution_ff > 0,
                "gap_drift_um above 0": self.gap_drift_um > 0,
                "bracket_um_per_k not negative": self.bracket_um_per_k >= 0,
                "drive_v above 0": self.drive_v > 0,
                "static_rejection_db from 0 to 160": 0 <= self.static_rejection_db <= 160,
            },
        )
