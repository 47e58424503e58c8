"""A detector class: a kind of detector pair by its physical parameters, never by a name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, kw_only=True)
class Housing:
    """Body of one head. `thread` is an ISO 261 designation or 'rectangular'."""

    thread: str
    pitch_mm: float | None
    length_mm: float
    width_mm: float


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
    gate_us: float | None
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


@dataclass(frozen=True, kw_only=True)
class OrderLine:
    """One thing to order for a class."""

    role: str
    part_number: str | None
    quantity: int


@dataclass(frozen=True, kw_only=True)
class DetectorClass:
    """A class of detector pairs that one recommendation can name. `parameters` belongs to the principle."""

    id: str
    principle: str
    illustrative: bool
    housing: Housing
    output: tuple[str, ...]
    supply: str
    ingress: str
    temperature_min_c: float
    temperature_max_c: float
    contactless: bool
    order: tuple[OrderLine, ...]
    parameters: UltrasonicParameters
    source: str
