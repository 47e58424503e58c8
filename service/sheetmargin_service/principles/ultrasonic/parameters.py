"""What describes an ultrasonic class."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import log10
from typing import Literal

from sheetmargin.contract.fields import about

from sheetmargin_service.detectors.parameters import broken_rules

LEAST_SLOPE = 0.25
"""A decibel of sound must move a soft receiver's reading by as much, so that a step of 0.25 dB is one of 1 dB (a
choice)."""
SOFTNESS_DB = -10.0 * (log10(10.0**0.1 - 1.0) - log10(1.0 / LEAST_SLOPE - 1.0))
"""By Rapp's model of an amplifier that saturates, of smoothness 1: v/sqrt(1 + v^2). Amplitude v reads
10 lg(1 + v^2) dB too little, 1 dB at overload, and a decibel of it moves the reading by 1/(1 + v^2) dB (C. Rapp,
2nd European Conference on Satellite Communications, 1991, from memory; the formula in MathWorks' Memoryless
Nonlinearity, Rapp model)."""


@dataclass(frozen=True, kw_only=True)
class UltrasonicParameters:
    """One emitter and receiver pair in air.

    Attenuation is counted from the open path at the same gap. `overload_db` and `noise_db` are attenuations at
    `reference_gap_mm`: at the least gain the receiver leaves overload at `overload_db`, and at any gain noise hides
    what is weaker than `noise_db`; both shift with the open path as the gap moves. At one gain the receiver spans
    `span_db`; the gain moves that span by up to `gain_range_db`. `bypass_db` is sound that goes round the sheet,
    `crosstalk_db` what the emitter couples into the receiver electrically: a gate lets in as much of it as it lets in
    of a bounce that is as late as the sound itself. Without it, `bypass_db` holds both.

    `limiting`: a sharp receiver reads all alike above overload. A soft one, as a row of limiting amplifiers is, has
    lost 1 dB there and still tells signals apart that are `softness_db` stronger.
    """

    frequency_hz: float = field(metadata=about(ge=20e3, le=1e6))
    bandwidth_hz: float = field(metadata=about(gt=0))
    face_radius_mm: float = field(metadata=about(gt=0))
    face_reflection: float = field(metadata=about(ge=0, lt=1))
    drive: Literal["gated", "continuous"]
    gate_us: float | None = field(default=None, metadata=about(gt=0))
    reference_gap_mm: float
    overload_db: float
    limiting: Literal["sharp", "soft"] = "sharp"
    noise_db: float
    bypass_db: float
    crosstalk_db: float | None = field(default=None, metadata=about(gt=0))
    span_db: float = field(metadata=about(gt=0))
    gain_range_db: float = field(metadata=about(ge=0))
    gap_min_mm: float = field(metadata=about(gt=0))
    gap_max_mm: float
    reading_interval_ms: float = field(metadata=about(gt=0))
    response_ms: float = field(metadata=about(gt=0))
    drift_db: float

    @property
    def softness_db(self) -> float:
        """How far above overload the receiver still tells signals apart."""
        return SOFTNESS_DB if self.limiting == "soft" else 0.0

    def problems(self) -> list[str]:
        return broken_rules(
            self,
            {
                "bandwidth_hz above 0 and below half the frequency": 0 < self.bandwidth_hz < self.frequency_hz / 2,
                "gate_us for a gated class, none for a continuous one": (
                    (self.gate_us is not None) == (self.drive == "gated")
                ),
                "0 < gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 < self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "overload_db below noise_db": self.overload_db < self.noise_db,
            },
        )
