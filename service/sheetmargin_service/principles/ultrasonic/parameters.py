"""What describes an ultrasonic class."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sheetmargin_service.detectors.parameters import broken_rules


@dataclass(frozen=True, kw_only=True)
class UltrasonicParameters:
    """One emitter and receiver pair in air.

    Attenuation is counted from the open path at the same gap. `overload_db` and `noise_db` are attenuations at
    `reference_gap_mm`: at the least gain the receiver leaves overload at `overload_db`, and at any gain noise hides
    what is weaker than `noise_db`; both shift with the open path as the gap moves. At one gain the receiver spans
    `span_db`; the gain moves that span by up to `gain_range_db`.
    """

    frequency_hz: float
    bandwidth_hz: float
    face_radius_mm: float
    face_reflection: float
    drive: Literal["gated", "continuous"]
    gate_us: float | None = None
    reference_gap_mm: float
    overload_db: float
    noise_db: float
    bypass_db: float
    span_db: float
    gain_range_db: float
    gap_min_mm: float
    gap_max_mm: float
    reading_interval_ms: float
    response_ms: float
    drift_db: float

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "frequency_hz between 20e3 and 1e6": 20e3 <= self.frequency_hz <= 1e6,
                "bandwidth_hz above 0 and below half the frequency": 0 < self.bandwidth_hz < self.frequency_hz / 2,
                "face_reflection from 0 to below 1": 0 <= self.face_reflection < 1,
                "gate_us for a gated class, none for a continuous one": (
                    (self.gate_us is not None) == (self.drive == "gated")
                ),
                "0 < gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 < self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "face_radius_mm above 0": self.face_radius_mm > 0,
                "overload_db below noise_db": self.overload_db < self.noise_db,
                "span_db and gain_range_db not negative": self.span_db > 0 and self.gain_range_db >= 0,
            },
        )
