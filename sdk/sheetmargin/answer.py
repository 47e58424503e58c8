"""The answer to a job, typed.

Unknown fields of the service's answer are ignored. A field that is missing or null is None (a list is empty), so that a
chain such as `setup.geometry.gap_mm.nominal` holds whatever the service's age. `verdict` is `suitable`, `trial` or
`unsuitable`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.job import Job
from sheetmargin.mounting import Alignment, Geometry, Mounting, Timing
from sheetmargin.notes import Assumption, Note, NotServed, Reason, Rejection


@dataclass(frozen=True, kw_only=True)
class Profile:
    """What the receiver is set to: attenuation within the band is one sheet, less is none, more is two."""

    id: str | None = None
    single_band_attenuation_db: tuple[float, ...] = ()
    hold_ms: float | None = None


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
class Sound:
    """What an ultrasonic pair senses with."""

    face_radius_mm: float | None = None
    drive: str | None = None


@dataclass(frozen=True, kw_only=True)
class Coil:
    """What an eddy-current pair senses with."""

    inner_radius_mm: float | None = None
    outer_radius_mm: float | None = None
    length_mm: float | None = None
    recess_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Electrode:
    """What a capacitive pair senses with."""

    width_mm: float | None = None
    length_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Light:
    """What an optical pair senses with."""

    wavelength_nm: float | None = None
    spot_diameter_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Roller:
    """What a caliper by contact senses with."""

    force_n: float | None = None
    width_mm: float | None = None
    length_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Laser:
    """What a caliper by light senses with."""

    spot_diameter_mm: float | None = None
    stand_off_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """What a pair senses with: the part of its principle, the others None."""

    sound: Sound | None = None
    coil: Coil | None = None
    electrode: Electrode | None = None
    light: Light | None = None
    roller: Roller | None = None
    laser: Laser | None = None


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One detector pair as it is mounted and set; `sheets` are those of the job that it serves, by their index.
    Mounting and timing are None until the line is known."""

    index: int | None = None
    sheets: tuple[int, ...] = ()
    detector_class: ClassSummary = ClassSummary()
    sensor: Sensor = Sensor()
    geometry: Geometry = field(default=Geometry())
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
    fewer: Percentiles | None = None


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
class Serves:
    """How many of the job's sheets are served."""

    count: int | None = None
    of: int | None = None


@dataclass(frozen=True, kw_only=True)
class Changeovers:
    """Changes while the list is run: of detector class, of gap or tilt, of profile."""

    detector_class: int | None = field(default=None, metadata={"key": "class"})
    geometry: int | None = None
    profile: int | None = None


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """What to buy and how to set it, what it will read, and why; `verdict` is that of the worst sheet it serves."""

    rank: int | None = None
    verdict: str | None = None
    serves: Serves = Serves()
    not_served: tuple[NotServed, ...] = ()
    changeovers: Changeovers = Changeovers()
    setups: tuple[Setup, ...] = ()
    sheets: tuple[SheetResult, ...] = ()
    reasons: tuple[Reason, ...] = ()


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
    """Ranked recommendations for a job. Printing it gives the report that the command line gives.

    `job` is the one that is answered, with the service's defaults. `verdict` is that of the worst sheet of the best
    recommendation: one that it does not serve is unsuitable.
    """

    reference: str | None = None
    job: Job | None = None
    model_version: str | None = None
    catalogue_version: str | None = None
    verdict: str | None = None
    sheets: tuple[SheetSummary, ...] = ()
    recommendations: tuple[Recommendation, ...] = ()
    rejected: tuple[Rejection, ...] = ()
    trial: tuple[Note, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    cautions: tuple[Note, ...] = ()

    @property
    def best(self) -> Recommendation | None:
        """The recommendation ranked first, or None where nothing serves."""
        return self.recommendations[0] if self.recommendations else None

    def __repr__(self) -> str:
        from sheetmargin.report import report

        return report(self)

    def _repr_html_(self) -> str:
        from sheetmargin.notebook import answer_html

        return answer_html(self)
