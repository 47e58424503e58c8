"""A job as a caller writes it: the sheets, the line, the surroundings and what is wanted of the answer.

None means "not given": the service answers with the default it took, in `assumptions`. The bounds keep out what no
sheet or machine is (a sheet 10 m thick) and what the physics would not survive; they say nothing on what works.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from sheetmargin.contract.fields import about
from sheetmargin.contract.shown import Record

Contact = Literal["air", "partial", "bonded", "water-film"]
DoubleKind = Literal["another-piece", "one-ply-more"]
Feeding = Literal["singulated", "shingled"]
Access = Literal["both-sides", "one-side"]
LabelState = Literal["present", "absent", "doubled"]

MAX_SHEETS = 50
LONGEST_REFERENCE = 200

# Diamond's Young's modulus is about 1200 GPa (typical, from memory).
_STIFFNESS = about(unit="GPa", ge=1e-9, le=1500)
_SPEED = about(unit="m/s", ge=10, le=20_000)
_TOLERANCE = about(unit="%", ge=0, le=50)
_TARGET = about(unit="per million", gt=0, le=1e6)
_WORDS = about(longest=40, most=20)
_HUMIDITY = about(unit="%", ge=0, le=100)
_AIR_TEMPERATURE = about(unit="degrees C", ge=-40, le=120)
_CLASS_TEMPERATURE = about(unit="degrees C", ge=-100, le=200)
_AIR_UM = about(unit="um", ge=0.1, le=5000)
_BOARD_GSM = about(unit="g/m2", ge=30, le=1000)


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """A sheet gauge number; the systems differ, so the system is named."""

    system: str = field(metadata=about(vocabulary="gauges"))
    """Gauge system."""
    number: float = field(metadata=about(gt=0, le=2000))
    """Gauge number."""


@dataclass(frozen=True, kw_only=True)
class Double:
    """What comes on top of a correct sheet, and how it lies there."""

    kind: DoubleKind = "another-piece"
    """Of a sheet of several plies: the whole of it once more, or one ply more; then one missing counts too."""
    contact: Contact = "air"
    """What is between the two sheets."""
    overlap_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0.1, le=10_000))
    """Length by which the second sheet covers the first; all of it if not given."""


@dataclass(frozen=True, kw_only=True)
class TrappedAir:
    """Thickness in um of the air caught between two sheets, as percentiles of its distribution."""

    p5: float = field(metadata=_AIR_UM)
    """5th percentile."""
    p50: float = field(metadata=_AIR_UM)
    """Median."""
    p95: float = field(metadata=_AIR_UM)
    """95th percentile."""


@dataclass(frozen=True, kw_only=True)
class Custom:
    """A material given wholly by the caller: isotropic or transversely isotropic constants, or wave speeds."""

    density_kg_m3: float = field(metadata=about(unit="kg/m3", ge=1, le=25_000))
    """Density."""
    youngs_modulus_gpa: float | None = field(default=None, metadata=_STIFFNESS | about(ge=1e-6))
    """Dynamic Young's modulus of an isotropic solid."""
    poisson_ratio: float | None = field(default=None, metadata=about(ge=0, le=0.4999))
    """Poisson's ratio of an isotropic solid."""
    c11_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """In-plane stiffness of a transversely isotropic sheet."""
    c13_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """Coupling stiffness between plane and thickness."""
    c33_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """Stiffness through the thickness."""
    c55_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """Transverse shear stiffness."""
    longitudinal_speed_m_per_s: float | None = field(default=None, metadata=_SPEED)
    """Speed of longitudinal waves in an isotropic solid."""
    shear_speed_m_per_s: float | None = field(default=None, metadata=_SPEED)
    """Speed of shear waves in an isotropic solid."""
    loss_factor: float | None = field(default=None, metadata=about(ge=1e-5, le=2))
    """Loss factor near the working frequency."""
    mass_tolerance_pct: float | None = field(default=None, metadata=_TOLERANCE)
    """Half width of the mass per area that holds 95 % of sheets."""
    modulus_uncertainty_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=95))
    """Half width within which the stiffness is known."""
    loss_uncertainty_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=95))
    """Half width within which the loss factor is known."""
    trapped_air_um: TrappedAir | None = None
    """Air caught between two such sheets."""
    like: str | None = None
    """A material of the library whose electrical and optical constants it has, and whose surface; none if not given."""


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of a layered sheet, from the emitter's side upwards."""

    material: str
    """Material id or a name of it."""
    grammage_gsm: float | None = field(default=None, metadata=about(unit="g/m2", ge=0.01, le=200_000))
    """Mass per area of the layer."""
    thickness_um: float | None = field(default=None, metadata=about(unit="um", ge=0.01, le=20_000))
    """Thickness of the layer."""
    custom: Custom | None = None
    """The material `custom`."""


@dataclass(frozen=True, kw_only=True)
class Wall:
    """One fluted wall of a corrugated board."""

    flute: str = field(metadata=about(vocabulary="flutes"))
    """Flute."""
    medium_gsm: float = field(metadata=_BOARD_GSM)
    """Mass per area of the fluted medium before fluting."""


@dataclass(frozen=True, kw_only=True)
class Corrugated:
    """Corrugated board: one liner more than walls, from the emitter's side upwards."""

    liners_gsm: Sequence[float] = field(metadata=_BOARD_GSM | about(fewest=2, most=4))
    """Mass per area of each liner."""
    walls: Sequence[Wall] = field(metadata=about(fewest=1, most=3))
    """Fluted walls."""


@dataclass(frozen=True, kw_only=True)
class Surface:
    """What is on a sheet and between two; null where nobody knows."""

    oiled: bool | None = None
    """Whether oil lies between two: it joins metal blanks for sound."""
    interleaf: bool | None = None
    """Whether a paper or film lies between two."""
    printed: bool | None = None
    """Whether print or a coating lies under the spot."""
    gloss: bool | None = None
    """Whether the surface reflects like a mirror."""
    cut_out: bool | None = None
    """Whether a window, a hole or an edge may come under the spot."""
    blocks: bool | None = None
    """Whether sheets cling together: static, blocking, burrs."""
    marks_allowed: bool | None = None
    """Whether a detector may touch and mark the sheet."""
    gritty: bool | None = None
    """Whether the surface wears what it touches."""
    lift_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=100))
    """How far flaps or curled edges lift above the sheet's plane."""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A sheet: what it is made of (`material`, `layers`, `corrugated` or `construction`) and a size.

    Its size is a mass per area (`grammage_gsm`, or `basis_weight_lb` with its `basis`), a thickness (`thickness_um`,
    `caliper_pt`, `thickness_in`, `sheet_gauge`), or both. Tolerances are half widths that hold 95 %.
    """

    label: str | None = None
    """The caller's own name of the sheet, echoed in the answer."""
    material: str | None = None
    """Material id or a name of it, in English or German; `custom` with the object of that name."""
    construction: str | None = None
    """Id of a construction of the library."""
    label_state: LabelState | None = None
    """Label stock: what the correct sheet carries."""
    layers: Sequence[Layer] | None = field(default=None, metadata=about(fewest=1, most=30))
    """Layers from the emitter's side upwards."""
    corrugated: Corrugated | None = None
    """Corrugated board."""
    custom: Custom | None = None
    """The material `custom`."""
    grammage_gsm: float | None = field(default=None, metadata=about(unit="g/m2", ge=3, le=200_000))
    """Mass per area."""
    basis_weight_lb: float | None = field(default=None, metadata=about(unit="lb", ge=0.1, le=2000))
    """Basis weight in pounds; needs `basis`."""
    basis: str | None = field(default=None, metadata=about(vocabulary="bases"))
    """Basic size that the basis weight is for."""
    thickness_um: float | None = field(default=None, metadata=about(unit="um", ge=1, le=20_000))
    """Thickness of one sheet."""
    caliper_pt: float | None = field(default=None, metadata=about(unit="pt", ge=1 / 25.4, le=20_000 / 25.4))
    """Thickness in points, thousandths of an inch."""
    thickness_in: float | None = field(default=None, metadata=about(unit="in", ge=1 / 25_400, le=20_000 / 25_400))
    """Thickness in inches."""
    sheet_gauge: Gauge | None = None
    """Thickness as a gauge number."""
    grammage_tolerance_pct: float | None = field(default=None, metadata=_TOLERANCE)
    """Half width of the mass per area that holds 95 % of sheets."""
    thickness_tolerance_pct: float | None = field(default=None, metadata=_TOLERANCE)
    """Half width of the thickness that holds 95 % of sheets."""
    plies: int = field(default=1, metadata=about(ge=1, le=100))
    """Plies in one correct sheet: folded, multi-ply."""
    open_area_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=90))
    """Open area of a perforated sheet."""
    air_permeance_um_per_pa_s: float | None = field(default=None, metadata=about(unit="um/(Pa s)", ge=1e-4, le=1e6))
    """Air permeance (ISO 5636)."""
    gurley_s_per_100ml: float | None = field(default=None, metadata=about(unit="s per 100 ml", gt=0, le=1e6))
    """Air resistance, Gurley (ISO 5636-5)."""
    bendtsen_ml_per_min: float | None = field(default=None, metadata=about(unit="ml/min", gt=0, le=1e8))
    """Air permeance, Bendtsen (ISO 5636-3)."""
    sheffield_units: float | None = field(default=None, metadata=about(gt=0, le=1e8))
    """Air permeance in Sheffield units, orifice of 19.1 mm (TAPPI T 547): roughly, within a fifth."""
    air_permeability_mm_per_s: float | None = field(default=None, metadata=about(unit="mm/s", gt=0, le=50_000))
    """Air permeability (ISO 9237) at `test_pressure_pa`."""
    test_pressure_pa: float | None = field(default=None, metadata=about(unit="Pa", ge=1, le=5000))
    """Pressure difference at which the permeability was measured."""
    double: Double = Double()
    """How a second sheet lies on this one."""
    surface: Surface = Surface()
    """What is on the sheet and between two."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """The machine at the place of the detector."""

    clearance_above_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=2000))
    """Free height above the sheet."""
    clearance_below_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=2000))
    """Free height below the sheet."""
    speed_m_per_min: float | None = field(default=None, metadata=about(unit="m/min", gt=0, le=3000))
    """Speed of the sheets."""
    sheet_length_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=100_000))
    """Length along travel."""
    sheet_width_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=20_000))
    """Width across travel."""
    sheet_spacing_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=100_000))
    """Space from one sheet's end to the next one's start."""
    shingle_pitch_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=100_000))
    """Distance from one sheet's start to the next one's where they overlap; needed with `feeding: shingled`."""
    flutter_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=100))
    """Half width of the sheet's height that holds 95 %."""
    flutter_deg: float | None = field(default=None, metadata=about(unit="deg", ge=0, le=30))
    """Half width of the sheet's angle that holds 95 %."""
    max_tilt_deg: float | None = field(default=None, metadata=about(unit="deg", ge=0, le=80))
    """Largest tilt that the machine leaves room for."""
    feeding: Feeding = "singulated"
    """Sheets one by one, or overlapping."""
    lanes: int = field(default=1, metadata=about(ge=1, le=64))
    """Lanes side by side."""
    lane_pitch_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=20_000))
    """Distance between the middles of two lanes."""
    edge_distance_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=20_000))
    """Distance from the beam to the nearest edge of the sheet."""
    body_through_frame: bool = False
    """Whether bodies and cables may reach beyond the clearances, through the machine's frame."""
    bed: bool | None = None
    """Whether something carries the sheet below, such as a table; a roller runs on it."""
    access: Access | None = None
    """From where a detector can reach the sheet."""
    dust: bool | None = None
    """Whether dust or powder flies about the detector."""
    wash_down: bool | None = None
    """Whether the machine is cleaned with jets of hot water (IP69K of IEC 60529)."""


@dataclass(frozen=True, kw_only=True)
class Environment:
    """Air at the detector."""

    temperature_min_c: float | None = field(default=None, metadata=_AIR_TEMPERATURE)
    """Lowest temperature."""
    temperature_max_c: float | None = field(default=None, metadata=_AIR_TEMPERATURE)
    """Highest temperature."""
    relative_humidity_min_pct: float | None = field(default=None, metadata=_HUMIDITY)
    """Lowest relative humidity."""
    relative_humidity_max_pct: float | None = field(default=None, metadata=_HUMIDITY)
    """Highest relative humidity."""
    pressure_kpa: float | None = field(default=None, metadata=about(unit="kPa", ge=50, le=110))
    """Air pressure."""


@dataclass(frozen=True, kw_only=True)
class Controller:
    """What reads the detector's output."""

    scan_ms: float | None = field(default=None, metadata=about(unit="ms", gt=0, le=10_000))
    """Time between two readings of the input."""
    input_filter_ms: float | None = field(default=None, metadata=about(unit="ms", ge=0, le=10_000))
    """Filter time of the input."""
    recipes: bool | None = None
    """Whether it switches the band with the job, by a recipe a sheet or a reference taught for each job; taken as true
    where all sheets are metal."""


@dataclass(frozen=True, kw_only=True)
class Targets:
    """Greatest misreads accepted, per million events of the true state."""

    single_as_double: float | None = field(default=None, metadata=_TARGET)
    """Most cases of one sheet read as two, per million."""
    single_as_no_sheet: float | None = field(default=None, metadata=_TARGET)
    """Most cases of one sheet read as none, per million."""
    double_as_single: float | None = field(default=None, metadata=_TARGET)
    """Most cases of two sheets read as one, per million."""
    double_as_no_sheet: float | None = field(default=None, metadata=_TARGET)
    """Most cases of two sheets read as none, per million."""
    no_sheet_as_single: float | None = field(default=None, metadata=_TARGET)
    """Most cases of no sheet read as one, per million."""
    no_sheet_as_double: float | None = field(default=None, metadata=_TARGET)
    """Most cases of no sheet read as two, per million."""


@dataclass(frozen=True, kw_only=True)
class Require:
    """Properties that a detector class must have to be admitted."""

    housing: Sequence[str] = field(default=(), metadata=_WORDS)
    """Threads or housings, any of them."""
    output: Sequence[str] = field(default=(), metadata=_WORDS)
    """Outputs, any of them."""
    supply: Sequence[str] = field(default=(), metadata=_WORDS)
    """Supplies as the catalogue writes them, any of them."""
    ingress: str | None = field(
        default=None,
        metadata=about(
            shape="IP[0-6][0-9]K?(/IP[0-6][0-9]K?){0,3}", expected="a text as IP65, or several as IP66/IP67"
        ),
    )
    """Protection of at least this (IEC 60529)."""
    temperature_min_c: float | None = field(default=None, metadata=_CLASS_TEMPERATURE)
    """The class works down to this or lower."""
    temperature_max_c: float | None = field(default=None, metadata=_CLASS_TEMPERATURE)
    """The class works up to this or higher."""
    contactless: bool | None = None
    """Whether the detector must not touch the sheet."""


@dataclass(frozen=True, kw_only=True)
class Circumstances(Record):
    """Where a sheet runs, and what is asked for there."""

    reference: str | None = field(default=None, metadata=about(longest=LONGEST_REFERENCE))
    """The caller's own reference, echoed in the answer; it changes nothing else."""
    line: Line = Line()
    """The machine."""
    environment: Environment = Environment()
    """The air."""
    controller: Controller = Controller()
    """What reads the output."""
    targets: Targets = Targets()
    """Greatest misreads accepted."""
    catalogue: str | None = None
    """Name of the catalogue of detector classes; the default one if not given."""


@dataclass(frozen=True, kw_only=True)
class Prefer:
    """What is liked better. It moves the effort that a class counts with, or leaves out what is too dear."""

    principles: Sequence[str] = field(default=(), metadata=_WORDS)
    """Principles whose classes count with an effort of one less."""
    contactless: bool | None = None
    """Whether classes that touch the sheet count with an effort of one more."""
    effort_max: int | None = field(default=None, metadata=about(ge=1, le=5))
    """The greatest effort of a class."""


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """Which classes a recommendation may name, and how many."""

    require: Require = Require()
    """Properties a class must have."""
    prefer: Prefer = Prefer()
    """What is liked better."""
    principles: Sequence[str] = field(default=(), metadata=_WORDS)
    """Sensing principles to consider; all if empty."""
    classes: Sequence[str] = field(default=(), metadata=about(most=200))
    """Ids of the only detector classes to consider; all if empty."""
    limit: int = field(default=5, metadata=about(ge=1, le=20))
    """Most recommendations to return."""


@dataclass(frozen=True, kw_only=True)
class Job(Circumstances, Wishes):
    """One question: the sheets, the line, the surroundings, and what is wanted of the answer."""

    sheets: Sequence[Sheet] = field(metadata=about(fewest=1, most=MAX_SHEETS))
    """The sheets that the detector has to serve."""
    keep_sequence: bool = False
    """Whether the sheets run in the sequence given."""


@dataclass(frozen=True, kw_only=True)
class SetupSheetQuestion(Job):
    """A job, and which of its recommendations is to be set up."""

    rank: int = field(default=1, metadata=about(ge=1, le=20))
    """Rank of the recommendation."""
    setup: int = field(default=0, metadata=about(ge=0, le=100))
    """Index of its set-up."""
    paper: Literal["a4", "letter"] = "a4"
    """Paper to print on."""
    language: Literal["en", "de"] | None = None
    """Language of the page; `Accept-Language` if not given."""


@dataclass(frozen=True, kw_only=True)
class ComparisonQuestion(Job):
    """A job, and two detector classes that are compared for it."""

    between: Sequence[str] = field(metadata=about(fewest=2, most=2))
    """Ids of the two classes."""
