"""The answer: what to buy, how to set it, whether it will work, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Scalar = str | int | float | bool | None
Verdict = Literal["suitable", "trial", "unsuitable"]


@dataclass(frozen=True, kw_only=True)
class Note:
    """A reason, rejection, assumption, caution or trial step: a stable code and the numbers its text may state."""

    code: str
    values: dict[str, Scalar]
    source: str | None = None
    pointer: str | None = None
    value: Scalar = None


@dataclass(frozen=True, kw_only=True)
class Window:
    nominal: float
    min: float
    max: float


@dataclass(frozen=True, kw_only=True)
class Geometry:
    gap_mm: Window
    tilt_deg: Window | None


@dataclass(frozen=True, kw_only=True)
class Profile:
    id: str
    single_band: tuple[int, int]
    hold_ms: float | None


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path."""

    lateral_mm_1db: float
    lateral_mm_3db: float
    angle_deg_1db: float
    angle_deg_3db: float


@dataclass(frozen=True, kw_only=True)
class ClassSummary:
    id: str
    principle: str
    frequency_hz: float | None
    illustrative: bool


@dataclass(frozen=True, kw_only=True)
class Order:
    role: str
    part_number: str | None
    quantity: int


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One detector pair as it is mounted and set. Mounting and timing are absent until the line is known."""

    index: int
    detector_class: ClassSummary
    geometry: Geometry
    profile: Profile
    alignment: Alignment | None
    mounting: Mounting | None
    timing: Timing | None
    order: tuple[Order, ...]


@dataclass(frozen=True, kw_only=True)
class Point:
    x_mm: float
    y_mm: float


@dataclass(frozen=True, kw_only=True)
class Mounting:
    """Face centres about the point where the beam meets the sheet: x along travel, y up."""

    emitter: Point
    receiver: Point


@dataclass(frozen=True, kw_only=True)
class Timing:
    readings_per_sheet: int | None


@dataclass(frozen=True, kw_only=True)
class Percentiles:
    p1: float
    p50: float
    p99: float


@dataclass(frozen=True, kw_only=True)
class Signal:
    quantity: str
    unit: str
    no_sheet: Percentiles
    single: Percentiles
    double: Percentiles


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Least distance of each state's p1-p99 from an edge of the band, in the signal's unit; negative when it crosses."""

    no_sheet: float
    single: float
    double: float


@dataclass(frozen=True, kw_only=True)
class Misread:
    estimate: float | None
    low: float | None
    high: float | None
    floored: bool


@dataclass(frozen=True, kw_only=True)
class Misreads:
    """Per million events of the true state."""

    single_as_double: Misread
    single_as_no_sheet: Misread
    double_as_single: Misread
    double_as_no_sheet: Misread
    no_sheet_as_single: Misread
    no_sheet_as_double: Misread


@dataclass(frozen=True, kw_only=True)
class SheetResult:
    index: int
    setup: int
    signal: Signal
    margin: Margin
    misread_ppm: Misreads


@dataclass(frozen=True, kw_only=True)
class Unplaced:
    index: int
    code: str
    values: dict[str, Scalar]


@dataclass(frozen=True, kw_only=True)
class Changeovers:
    """Changes while the list is run: of detector class, of gap or tilt, of profile."""

    detector_class: int
    geometry: int
    profile: int


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    rank: int
    verdict: Verdict
    changeovers: Changeovers
    setups: tuple[Setup, ...]
    sheets: tuple[SheetResult, ...]
    unplaced: tuple[Unplaced, ...]
    reasons: tuple[Note, ...]


@dataclass(frozen=True, kw_only=True)
class Rejection:
    detector_class: str
    code: str
    values: dict[str, Scalar]


@dataclass(frozen=True, kw_only=True)
class SheetSummary:
    index: int
    label: str | None
    material: str
    grammage_gsm: float
    thickness_um: float
    density_kg_m3: float


@dataclass(frozen=True, kw_only=True)
class Answer:
    reference: str | None
    model_version: str
    catalogue_version: str
    verdict: Verdict
    sheets: tuple[SheetSummary, ...]
    recommendations: tuple[Recommendation, ...]
    rejected: tuple[Rejection, ...]
    trial: tuple[Note, ...]
    assumptions: tuple[Note, ...]
    cautions: tuple[Note, ...]
