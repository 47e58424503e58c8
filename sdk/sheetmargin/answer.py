"""The answer to a job, typed.

Unknown fields of the service's answer are ignored. A field that is missing or null is None (a list is empty), so that a
chain such as `setup.geometry.gap_mm.nominal` holds whatever the service's age. `verdict` is `suitable`, `trial` or
`unsuitable`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

Scalar = str | int | float | bool | None


@dataclass(frozen=True, kw_only=True)
class Note:
    """A reason, assumption, caution or trial step: a stable code, its text, and the numbers that the text states."""

    code: str | None = None
    text: str | None = None
    values: dict[str, Scalar] = field(default_factory=dict)
    source: str | None = None
    pointer: str | None = None
    value: Scalar = None

    def __str__(self) -> str:
        return self.text or self.code or ""


@dataclass(frozen=True, kw_only=True)
class Window:
    """A setting and the window within which the margins hold."""

    nominal: float | None = None
    min: float | None = None
    max: float | None = None

    def __str__(self) -> str:
        if self.nominal is None:
            return "-"
        if self.min is None or self.max is None or self.min == self.max:
            return f"{self.nominal:g}"
        return f"{self.nominal:g} ({self.min:g} to {self.max:g})"


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """`tilt_deg` is None where tilt means nothing to the principle."""

    gap_mm: Window = Window()
    tilt_deg: Window | None = None


@dataclass(frozen=True, kw_only=True)
class Profile:
    """What the receiver is set to: attenuation within the band is one sheet, less is none, more is two."""

    id: str | None = None
    single_band_attenuation_db: tuple[float, ...] = ()
    hold_ms: float | None = None


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path."""

    lateral_mm_1db: float | None = None
    lateral_mm_3db: float | None = None
    angle_deg_1db: float | None = None
    angle_deg_3db: float | None = None


@dataclass(frozen=True, kw_only=True)
class ClassSummary:
    """The class of detector pairs that a set-up uses."""

    id: str | None = None
    principle: str | None = None
    frequency_khz: float | None = None
    illustrative: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Order:
    """One thing to order; the part number is the catalogue owner's."""

    role: str | None = None
    part_number: str | None = None
    quantity: int | None = None


@dataclass(frozen=True, kw_only=True)
class Point:
    x_mm: float | None = None
    y_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Mounting:
    """Face centres about the point where the beam meets the sheet: x along travel, y up."""

    emitter: Point = Point()
    receiver: Point = Point()


@dataclass(frozen=True, kw_only=True)
class Timing:
    readings_per_sheet: int | None = None


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One detector pair as it is mounted and set. Mounting and timing are None until the line is known."""

    index: int | None = None
    detector_class: ClassSummary = ClassSummary()
    geometry: Geometry = Geometry()
    profile: Profile = Profile()
    alignment: Alignment | None = None
    mounting: Mounting | None = None
    timing: Timing | None = None
    order: tuple[Order, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Percentiles:
    """Percentiles of a state's signal over its spread."""

    p1: float | None = None
    p50: float | None = None
    p99: float | None = None


@dataclass(frozen=True, kw_only=True)
class Signal:
    """What the pair reads in each state, in `unit`."""

    quantity: str | None = None
    unit: str | None = None
    no_sheet: Percentiles = Percentiles()
    single: Percentiles = Percentiles()
    double: Percentiles = Percentiles()


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Least distance of each state's p1 to p99 from an edge of the band, in the signal's unit; negative: it crosses."""

    no_sheet: float | None = None
    single: float | None = None
    double: float | None = None


@dataclass(frozen=True, kw_only=True)
class Misread:
    """Misreads per million events; `floored` says that the estimate is as low as is claimed, not as was computed."""

    estimate: float | None = None
    low: float | None = None
    high: float | None = None
    floored: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Misreads:
    """Per million events of the true state."""

    single_as_double: Misread = Misread()
    single_as_no_sheet: Misread = Misread()
    double_as_single: Misread = Misread()
    double_as_no_sheet: Misread = Misread()
    no_sheet_as_single: Misread = Misread()
    no_sheet_as_double: Misread = Misread()


@dataclass(frozen=True, kw_only=True)
class SheetResult:
    """One sheet of the job on one set-up; `index` and `setup` point into the job's sheets and the set-ups."""

    index: int | None = None
    setup: int | None = None
    signal: Signal = Signal()
    margin: Margin = Margin()
    misread_ppm: Misreads = Misreads()


@dataclass(frozen=True, kw_only=True)
class Unplaced:
    """A sheet that a recommendation cannot serve, and why."""

    index: int | None = None
    code: str | None = None
    text: str | None = None
    values: dict[str, Scalar] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Changeovers:
    """Changes while the list is run: of detector class, of gap or tilt, of profile."""

    detector_class: int | None = field(default=None, metadata={"key": "class"})
    geometry: int | None = None
    profile: int | None = None


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """What to buy and how to set it, what it will read, and why."""

    rank: int | None = None
    verdict: str | None = None
    changeovers: Changeovers = Changeovers()
    setups: tuple[Setup, ...] = ()
    sheets: tuple[SheetResult, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    reasons: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Rejection:
    """A class that the filters admit and that is not recommended, and why."""

    detector_class: str | None = None
    code: str | None = None
    text: str | None = None
    values: dict[str, Scalar] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SheetSummary:
    """A sheet of the job as the service understood it."""

    index: int | None = None
    label: str | None = None
    material: str | None = None
    grammage_gsm: float | None = None
    thickness_um: float | None = None
    density_kg_m3: float | None = None


@dataclass(frozen=True, kw_only=True, repr=False)
class Answer:
    """Ranked recommendations for a job. Printing it gives the report that the command line gives."""

    reference: str | None = None
    model_version: str | None = None
    catalogue_version: str | None = None
    verdict: str | None = None
    sheets: tuple[SheetSummary, ...] = ()
    recommendations: tuple[Recommendation, ...] = ()
    rejected: tuple[Rejection, ...] = ()
    trial: tuple[Note, ...] = ()
    assumptions: tuple[Note, ...] = ()
    cautions: tuple[Note, ...] = ()

    @property
    def best(self) -> Recommendation | None:
        """The recommendation ranked first, or None where nothing serves."""
        return self.recommendations[0] if self.recommendations else None

    def __repr__(self) -> str:
        from sheetmargin.report import report

        return report(self)
