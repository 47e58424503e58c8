"""What describes a capacitive class."""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class CapacitiveParameters:
    """Two parallel guarded electrodes, the sheet between them.

    `resolution_ff` is one standard deviation of a reading. `gap_drift_um` is the half width (95 %) by which the
    bracket's gap moves between two teachings, from warmth and vibration.
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
            },
        )
