"""What describes a detector class physically, one dataclass for each way of sensing.

Each checks itself: `problems()` lists the rules that its numbers break, each as what was expected. All have
`reading_interval_ms`, the time from one reading to the next, and `response_ms`, the time from a change at the sheet to
a change at the output.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal


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
        return _broken(
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
                **_timing(self),
            }
        )


@dataclass(frozen=True, kw_only=True)
class EddyCurrentParameters:
    """Two equal coaxial air-cored coils of rectangular section: one either side of the sheet, or both on one side.

    The coils lie `recess_mm` behind the face. With a coil on either side the gap is face to face and the signal is
    the attenuation of the open path; on one side it is face to sheet, and the signal is the change of coupling in
    per cent of the open one. `floor_db` is the open path over what is left with the coupling gone: noise, crosstalk
    and field that finds its way round the sheet's edge, at `reference_gap_mm`. `drift_db` is the half width (95 %)
    of the open path between two teachings; with `taught_on_sheet` the gain is set on one sheet of each job, so that it
    reads what was computed whatever its alloy. `hold_mm` is how well the sheet keeps its distance to a one-sided face
    that it is pressed to (half width, 95 %); none where the line's own flutter applies.
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

    def problems(self) -> list[str]:
        return _broken(
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
                "hold_mm above 0 or none": self.hold_mm is None or self.hold_mm > 0,
                "reading_interval_ms of at least one period": self.reading_interval_ms >= 1e3 / self.frequency_hz,
                **_timing(self),
            }
        )


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
        return _broken(
            {
                "frequency_hz between 1e3 and 1e8": 1e3 <= self.frequency_hz <= 1e8,
                "0 < gap_min_mm <= gap_max_mm": 0 < self.gap_min_mm <= self.gap_max_mm,
                "electrodes at least 4 times as wide and long as gap_max_mm": (
                    min(self.electrode_width_mm, self.electrode_length_mm) >= 4 * self.gap_max_mm
                ),
                "resolution_ff above 0": self.resolution_ff > 0,
                "gap_drift_um above 0": self.gap_drift_um > 0,
                **_timing(self),
            }
        )


@dataclass(frozen=True, kw_only=True)
class OpticalParameters:
    """An infrared emitter and receiver, each behind a diffusing window, so that the light is diffuse before the sheet.

    Attenuation is counted from the open path at the same gap, 10 lg of power. `floor_db` is the open path at
    `reference_gap_mm` over noise, stray light and what passes the sheet's edge; it falls with the square of the gap.
    `position_db_per_mm` is how a sheet's height between the windows moves the reading.
    """

    wavelength_nm: float
    spot_diameter_mm: float
    reference_gap_mm: float
    floor_db: float
    resolution_db: float
    drift_db: float
    position_db_per_mm: float
    gap_min_mm: float
    gap_max_mm: float
    reading_interval_ms: float
    response_ms: float

    def problems(self) -> list[str]:
        return _broken(
            {
                "wavelength_nm between 700 and 1700": 700 <= self.wavelength_nm <= 1700,
                "spot_diameter_mm above 0": self.spot_diameter_mm > 0,
                "0 < gap_min_mm <= reference_gap_mm <= gap_max_mm": (
                    0 < self.gap_min_mm <= self.reference_gap_mm <= self.gap_max_mm
                ),
                "0 < resolution_db < floor_db": 0 < self.resolution_db < self.floor_db,
                "drift_db above 0": self.drift_db > 0,
                "position_db_per_mm not negative": self.position_db_per_mm >= 0,
                **_timing(self),
            }
        )


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
        return _broken(
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
                **_timing(self),
            }
        )


Parameters = (
    UltrasonicParameters | EddyCurrentParameters | CapacitiveParameters | OpticalParameters | ThicknessParameters
)

PARAMETERS: Mapping[str, type[Parameters]] = {
    "ultrasonic": UltrasonicParameters,
    "eddy-current": EddyCurrentParameters,
    "eddy-current-one-sided": EddyCurrentParameters,
    "capacitive": CapacitiveParameters,
    "optical": OpticalParameters,
    "thickness": ThicknessParameters,
}
"""The parameter table of each principle. A new principle adds its dataclass here."""


def _broken(rules: Mapping[str, bool]) -> list[str]:
    return [rule for rule, holds in rules.items() if not holds]


def _timing(parameters: Parameters) -> dict[str, bool]:
    return {
        "0 < reading_interval_ms <= response_ms": 0 < parameters.reading_interval_ms <= parameters.response_ms,
    }
