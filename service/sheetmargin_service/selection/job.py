"""A job: the sheets, the line, the surroundings and what the caller wants of the answer."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from sheetmargin_service.materials.spec import SheetSpec


@dataclass(frozen=True, kw_only=True)
class Line:
    """The machine at the place of the detector. None: not given."""

    clearance_above_mm: float | None = None
    clearance_below_mm: float | None = None
    speed_m_per_min: float | None = None
    sheet_length_mm: float | None = None
    sheet_width_mm: float | None = None
    sheet_spacing_mm: float | None = None
    shingle_pitch_mm: float | None = None
    flutter_mm: float | None = None
    flutter_deg: float | None = None
    max_tilt_deg: float | None = None
    feeding: Literal["singulated", "shingled"] = "singulated"
    lanes: int = 1
    lane_pitch_mm: float | None = None
    edge_distance_mm: float | None = None
    body_through_frame: bool = False
    bed: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Environment:
    """Air at the detector."""

    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    relative_humidity_min_pct: float | None = None
    relative_humidity_max_pct: float | None = None
    pressure_kpa: float | None = None


@dataclass(frozen=True, kw_only=True)
class Controller:
    """What reads the detector's output."""

    scan_ms: float | None = None
    input_filter_ms: float | None = None


@dataclass(frozen=True, kw_only=True)
class Targets:
    """Greatest misreads accepted, per million events of the true state."""

    single_as_double: float | None = None
    single_as_no_sheet: float | None = None
    double_as_single: float | None = None
    double_as_no_sheet: float | None = None
    no_sheet_as_single: float | None = None
    no_sheet_as_double: float | None = None


@dataclass(frozen=True, kw_only=True)
class Require:
    """Properties a class must have to be admitted: any of the words of a list; protection and temperatures at least as
    wide as these."""

    housing: tuple[str, ...] = ()
    output: tuple[str, ...] = ()
    supply: tuple[str, ...] = ()
    ingress: str | None = None
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    contactless: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Job:
    """One question. `reference` is echoed and takes no part in the answer. `catalogue`: None is the default one."""

    sheets: tuple[SheetSpec, ...]
    reference: str | None = None
    line: Line = field(default_factory=Line)
    environment: Environment = field(default_factory=Environment)
    controller: Controller = field(default_factory=Controller)
    targets: Targets = field(default_factory=Targets)
    require: Require = field(default_factory=Require)
    principles: tuple[str, ...] = ()
    classes: tuple[str, ...] = ()
    catalogue: str | None = None
    ordered: bool = False
    limit: int = 5
