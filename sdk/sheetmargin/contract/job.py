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
from sheetmargin.contract.trials import Trial

Contact = Literal["air", "partial", "bonded", "water-film"]
DoubleKind = Literal["another-piece", "one-ply-more"]
Feeding = Literal["singulated", "shingled"]
FluteDirection = Literal["along-travel", "across-travel"]
Access = Literal["both-sides", "one-side"]
Paper = Literal["a4", "letter"]
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
    """A sheet gauge number with its system, as the same number means different thicknesses in different systems."""

    system: str = field(metadata=about(vocabulary="gauges"))
    """Name of the gauge system that the number belongs to."""
    number: float = field(metadata=about(gt=0, le=2000))
    """Gauge number, without a unit, in that system."""


@dataclass(frozen=True, kw_only=True)
class Double:
    """What comes on top of a correct sheet, and how it lies there."""

    kind: DoubleKind = "another-piece"
    """What a double of this sheet is. `another-piece`: the whole sheet once more. `one-ply-more`: one ply too many of a
    sheet of several plies; a ply too few is then detected too."""
    contact: Contact = "air"
    """What lies between the two sheets: air over the whole area, air with places that touch, a bond, or a film of
    water."""
    overlap_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0.1, le=10_000))
    """Length along travel, in mm, by which the second sheet covers the first; the whole length if not given."""


@dataclass(frozen=True, kw_only=True)
class TrappedAir:
    """Thickness of the air trapped between two sheets, in µm, as three percentiles of its distribution over doubles."""

    p5: float = field(metadata=_AIR_UM)
    """Thickness of the trapped air in µm that 5 % of doubles stay below."""
    p50: float = field(metadata=_AIR_UM)
    """Thickness of the trapped air in µm that half of the doubles stay below: the median."""
    p95: float = field(metadata=_AIR_UM)
    """Thickness of the trapped air in µm that 95 % of doubles stay below."""


@dataclass(frozen=True, kw_only=True)
class Custom:
    """A material given wholly by the caller, by isotropic constants, transversely isotropic constants, or wave
    speeds."""

    density_kg_m3: float = field(metadata=about(unit="kg/m3", ge=1, le=25_000))
    """Density of the solid sheet in kg/m³, pores included."""
    youngs_modulus_gpa: float | None = field(default=None, metadata=_STIFFNESS | about(ge=1e-6))
    """Dynamic Young's modulus of an isotropic solid in GPa; if not given, wave speeds or the four `c` constants are
    needed."""
    poisson_ratio: float | None = field(default=None, metadata=about(ge=0, le=0.4999))
    """Poisson's ratio of an isotropic solid, without a unit; needed with `youngs_modulus_gpa`, not given otherwise."""
    c11_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """In-plane stiffness C11 of a transversely isotropic sheet in GPa; not given for an isotropic solid."""
    c13_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """Coupling stiffness C13 between plane and thickness in GPa; not given for an isotropic solid."""
    c33_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """Stiffness C33 through the thickness in GPa; not given for an isotropic solid."""
    c55_gpa: float | None = field(default=None, metadata=_STIFFNESS)
    """Transverse shear stiffness C55 in GPa; not given for an isotropic solid."""
    longitudinal_speed_m_per_s: float | None = field(default=None, metadata=_SPEED)
    """Speed of longitudinal waves in an isotropic solid in m/s; not given where moduli are."""
    shear_speed_m_per_s: float | None = field(default=None, metadata=_SPEED)
    """Speed of shear waves in an isotropic solid in m/s; not given where moduli are."""
    loss_factor: float | None = field(default=None, metadata=about(ge=1e-5, le=2))
    """Loss factor of the solid near the working frequency, without a unit; a typical value is assumed if not given."""
    mass_tolerance_pct: float | None = field(default=None, metadata=_TOLERANCE)
    """Half width, in % of the grammage, of the range that holds 95 % of sheets; a typical value is assumed if not
    given."""
    modulus_uncertainty_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=95))
    """Half width, in % of the stiffness, of the range within which it is known; a typical value is assumed if not
    given."""
    loss_uncertainty_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=95))
    """Half width, in % of the loss factor, of the range within which it is known; a typical value is assumed if not
    given."""
    trapped_air_um: TrappedAir | None = None
    """Thickness in µm of the air trapped between two such sheets; a typical distribution is assumed if not given."""
    like: str | None = None
    """Id or name of a material of the library whose electrical and optical constants and surface it shares; if not
    given, it has none and only principles that need none are considered."""


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of a laminate, told from the emitter's side upwards."""

    material: str
    """Id or name of the layer's material, in English or German; `custom` together with the object of that name."""
    grammage_gsm: float | None = field(default=None, metadata=about(unit="g/m2", ge=0.01, le=200_000))
    """Grammage of the layer in g/m²; if not given, `thickness_um` is needed."""
    thickness_um: float | None = field(default=None, metadata=about(unit="um", ge=0.01, le=20_000))
    """Thickness of the layer in µm; if not given, `grammage_gsm` is needed."""
    custom: Custom | None = None
    """Constants of the material `custom`; not given for a material of the library."""


@dataclass(frozen=True, kw_only=True)
class Wall:
    """One fluted wall of a corrugated board."""

    flute: str = field(metadata=about(vocabulary="flutes"))
    """Name of the flute profile, such as B or E."""
    medium_gsm: float = field(metadata=_BOARD_GSM)
    """Grammage of the fluting medium in g/m², flat, before it is fluted."""


@dataclass(frozen=True, kw_only=True)
class Corrugated:
    """Corrugated board: one liner more than fluted walls, from the emitter's side upwards."""

    liners_gsm: Sequence[float] = field(metadata=_BOARD_GSM | about(fewest=2, most=4))
    """Grammage of each liner in g/m², from the emitter's side upwards."""
    walls: Sequence[Wall] = field(metadata=about(fewest=1, most=3))
    """Fluted walls between the liners, from the emitter's side upwards."""


@dataclass(frozen=True, kw_only=True)
class Surface:
    """What is on a sheet and between two sheets; null or left out where nobody knows."""

    oiled: bool | None = None
    """Whether oil lies between the two sheets of a double, which joins metal sheets for sound; if not given, not
    known."""
    interleaf: bool | None = None
    """Whether a paper or film lies between the two sheets of a double; if not given, not known."""
    printed: bool | None = None
    """Whether print or a coating comes under the spot that the detector senses; if not given, not known."""
    gloss: bool | None = None
    """Whether the surface reflects like a mirror; if not given, not known."""
    cut_out: bool | None = None
    """Whether a window, a hole or an edge may come under the spot that the detector senses; if not given, not known."""
    blocks: bool | None = None
    """Whether sheets cling together by static charge, blocking or burrs; if not given, not known."""
    marks_allowed: bool | None = None
    """Whether a detector may touch and mark the sheet; if not given, not known."""
    gritty: bool | None = None
    """Whether the surface wears down what touches it; if not given, not known."""
    lift_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=100))
    """Height in mm by which flaps or curled edges lift above the plane of the sheet; taken as 0 mm if not given."""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A sheet: what it is made of (`material`, `layers`, `corrugated` or `construction`) and a size.

    Its size is a mass per area (`grammage_gsm`, or `basis_weight_lb` with its `basis`), a thickness (`thickness_um`,
    `caliper_pt`, `thickness_in`, `sheet_gauge`), or both. Tolerances are half widths that hold 95 %.
    """

    article: str | None = field(default=None, metadata=about(shortest=1, longest=80))
    """Article number of the sheet in the owner's stock, which says material and size; not given with either."""
    label: str | None = None
    """The caller's own name of the sheet, repeated in the answer; the material's name is used if not given."""
    material: str | None = None
    """Id or name of the material, in English or German, or `custom` together with the object of that name; not given
    with `layers`, `corrugated` or `construction`."""
    construction: str | None = None
    """Id of a construction of the library, such as a carton board made of several layers; not given with `material`,
    `layers` or `corrugated`."""
    label_state: LabelState | None = None
    """What the correct sheet of label stock carries: a label, none, or two; not given for other sheets."""
    layers: Sequence[Layer] | None = field(default=None, metadata=about(fewest=1, most=30))
    """Layers of a laminate from the emitter's side upwards; not given for a sheet of one material."""
    corrugated: Corrugated | None = None
    """Liners and flutes of corrugated board; not given for other sheets."""
    flute_direction: FluteDirection | None = None
    """Way in which the flutes of corrugated board run: readings change from crest to crest; if not given, not
    known."""
    custom: Custom | None = None
    """Constants of the material `custom`; not given for a material of the library."""
    grammage_gsm: float | None = field(default=None, metadata=about(unit="g/m2", ge=3, le=200_000))
    """Grammage of one ply in g/m² (ISO 536); calculated from thickness and typical density if not given."""
    basis_weight_lb: float | None = field(default=None, metadata=about(unit="lb", ge=0.1, le=200_000))
    """Basis weight in lb of a ream of the size that `basis` names; not given where the grammage is."""
    basis: str | None = field(default=None, metadata=about(vocabulary="bases"))
    """Basic size of the ream that the basis weight is for; not given without `basis_weight_lb`."""
    thickness_um: float | None = field(default=None, metadata=about(unit="um", ge=1, le=20_000))
    """Thickness of one ply in µm (ISO 534); calculated from grammage and typical density if not given."""
    caliper_pt: float | None = field(default=None, metadata=about(unit="pt", ge=1 / 25.4, le=20_000 / 25.4))
    """Thickness of one ply in pt, thousandths of an inch; not given where another thickness is."""
    thickness_in: float | None = field(default=None, metadata=about(unit="in", ge=1 / 25_400, le=20_000 / 25_400))
    """Thickness of one ply in inches; not given where another thickness is."""
    sheet_gauge: Gauge | None = None
    """Thickness as a gauge number with its system; not given where another thickness is."""
    grammage_tolerance_pct: float | None = field(default=None, metadata=_TOLERANCE)
    """Half width, in % of the grammage, of the range that holds 95 % of sheets; the material's typical value is assumed
    if not given."""
    thickness_tolerance_pct: float | None = field(default=None, metadata=_TOLERANCE)
    """Half width, in % of the thickness, of the range that holds 95 % of sheets; the material's typical value is
    assumed if not given."""
    plies: int = field(default=1, metadata=about(ge=1, le=100))
    """Number of plies in one correct sheet, for example 2 where it is folded once."""
    open_area_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=90))
    """Open area of a perforated sheet in % of its whole area; taken as 0 % if not given."""
    air_permeance_um_per_pa_s: float | None = field(default=None, metadata=about(unit="um/(Pa s)", ge=1e-4, le=1e6))
    """Air permeance in µm/(Pa s) (ISO 5636); the material's typical value is assumed if not given."""
    gurley_s_per_100ml: float | None = field(default=None, metadata=about(unit="s per 100 ml", gt=0, le=1e6))
    """Air resistance by the Gurley method in s per 100 ml (ISO 5636-5); not given where another air permeance is."""
    bendtsen_ml_per_min: float | None = field(default=None, metadata=about(unit="ml/min", gt=0, le=1e8))
    """Air permeance by the Bendtsen method in ml/min (ISO 5636-3); not given where another air permeance is."""
    sheffield_units: float | None = field(default=None, metadata=about(gt=0, le=1e8))
    """Air permeance in Sheffield units with an orifice of 19.1 mm (TAPPI T 547), converted to within about 20 %; not
    given where another air permeance is."""
    air_permeability_mm_per_s: float | None = field(default=None, metadata=about(unit="mm/s", gt=0, le=50_000))
    """Air permeability of a textile in mm/s (ISO 9237), measured at `test_pressure_pa`; not given where another air
    permeance is."""
    test_pressure_pa: float | None = field(default=None, metadata=about(unit="Pa", ge=1, le=5000))
    """Pressure difference in Pa at which `air_permeability_mm_per_s` was measured; not given without it."""
    double: Double = Double()
    """What a double of this sheet is and how the second sheet lies on the first."""
    surface: Surface = Surface()
    """What is on the sheet and between two such sheets."""
    trials: Sequence[Trial] = field(default=(), metadata=about(most=20))
    """Outcomes of trials of this sheet; the chances are those that they leave."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """The machine where the detector is mounted."""

    clearance_above_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=2000))
    """Clearance above the sheet in mm, from the sheet to the nearest part of the machine; if not given, the fit above
    is not checked."""
    clearance_below_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=2000))
    """Clearance below the sheet in mm, from the sheet to the nearest part of the machine; if not given, the fit below
    is not checked."""
    speed_m_per_min: float | None = field(default=None, metadata=about(unit="m/min", gt=0, le=3000))
    """Line speed in m/min; if not given, it is not checked, and the highest possible speed is still calculated where
    the rest is known."""
    sheet_length_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=100_000))
    """Length of a sheet along travel in mm; if not given, the time for which a sheet covers the detector is not
    known."""
    sheet_width_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=20_000))
    """Width of a sheet across travel in mm; if not given, `edge_distance_mm` is not checked against it."""
    sheet_spacing_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=100_000))
    """Sheet spacing in mm, from the trailing edge of a sheet to the leading edge of the next; if not given, the time
    without a sheet is not known."""
    shingle_pitch_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=100_000))
    """Distance in mm from the leading edge of a sheet to that of the next where sheets overlap; needed with `feeding:
    shingled`, and not given where sheets come one by one."""
    flutter_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=100))
    """Flutter of the sheet's height in mm: half width of the range that holds it 95 % of the time; a typical value is
    assumed if not given."""
    flutter_deg: float | None = field(default=None, metadata=about(unit="deg", ge=0, le=30))
    """Flutter of the sheet's angle in °: half width of the range that holds it 95 % of the time; a typical value is
    assumed if not given."""
    max_tilt_deg: float | None = field(default=None, metadata=about(unit="deg", ge=0, le=80))
    """Largest tilt of the detector's axis against the sheet's normal, in °, that the machine has room for; limited only
    by the physics if not given."""
    feeding: Feeding | None = None
    """Whether sheets come one by one (`singulated`) or overlapping in a stream (`shingled`); if not given, they overlap
    where a shingle pitch is given."""
    lanes: int = field(default=1, metadata=about(ge=1, le=64))
    """Number of lanes side by side, each with a detector of its own."""
    lane_pitch_mm: float | None = field(default=None, metadata=about(unit="mm", gt=0, le=20_000))
    """Distance in mm between the centre lines of neighbouring lanes; if not given, crosstalk between lanes is not
    checked."""
    edge_distance_mm: float | None = field(default=None, metadata=about(unit="mm", ge=0, le=20_000))
    """Distance in mm from the detector's axis to the nearest side edge of the sheet; if not given, it is not
    checked."""
    body_through_frame: bool = False
    """Whether the bodies of the heads and their cables may reach beyond the clearances, through the machine's frame."""
    bed: bool | None = None
    """Whether a table or another support carries the sheet from below, as a thickness roller needs; if not given, not
    known."""
    access: Access | None = None
    """Sides from which a detector can reach the sheet; both sides are assumed if not given."""
    dust: bool | None = None
    """Whether dust or powder is in the air at the detector; if not given, not known."""
    wash_down: bool | None = None
    """Whether the machine is cleaned with jets of hot water, so that the detector needs IP69K (IEC 60529); taken as no
    if not given."""

    @property
    def shingled(self) -> bool:
        """Whether sheets overlap in a stream."""
        return self.shingle_pitch_mm is not None if self.feeding is None else self.feeding == "shingled"


@dataclass(frozen=True, kw_only=True)
class Environment:
    """Temperature, humidity and pressure of the air at the detector."""

    temperature_min_c: float | None = field(default=None, metadata=_AIR_TEMPERATURE)
    """Lowest air temperature at the detector in °C; a typical value is assumed if not given."""
    temperature_max_c: float | None = field(default=None, metadata=_AIR_TEMPERATURE)
    """Highest air temperature at the detector in °C; a typical value is assumed if not given."""
    relative_humidity_min_pct: float | None = field(default=None, metadata=_HUMIDITY)
    """Lowest relative humidity of the air in %; a typical value is assumed if not given."""
    relative_humidity_max_pct: float | None = field(default=None, metadata=_HUMIDITY)
    """Highest relative humidity of the air in %; a typical value is assumed if not given."""
    pressure_kpa: float | None = field(default=None, metadata=about(unit="kPa", ge=50, le=110))
    """Absolute air pressure in kPa; the standard atmosphere at sea level is assumed if not given."""


@dataclass(frozen=True, kw_only=True)
class Controller:
    """The controller that reads the detector's output."""

    scan_ms: float | None = field(default=None, metadata=about(unit="ms", gt=0, le=10_000))
    """Time in ms between two scans of the controller's input; a typical value is assumed where it is needed and not
    given."""
    input_filter_ms: float | None = field(default=None, metadata=about(unit="ms", ge=0, le=10_000))
    """Filter time of the controller's input in ms; a typical value is assumed where it is needed and not given."""
    recipes: bool | None = None
    """Whether it switches the band with the job, by a recipe for each sheet or a reference taught for each job; if not
    given, yes where all sheets are metal, else no."""


@dataclass(frozen=True, kw_only=True)
class Targets:
    """Target values: the highest acceptable misread rates, each per million events of the state that was there."""

    single_as_double: float | None = field(default=None, metadata=_TARGET)
    """Highest acceptable rate of false stops, single sheets read as doubles, per million single sheets; a default
    target applies if not given."""
    single_as_no_sheet: float | None = field(default=None, metadata=_TARGET)
    """Highest acceptable rate of single sheets read as no sheet, per million single sheets; a default target applies if
    not given."""
    double_as_single: float | None = field(default=None, metadata=_TARGET)
    """Highest acceptable rate of missed doubles, read as single sheets, per million doubles; a default target applies
    if not given."""
    double_as_no_sheet: float | None = field(default=None, metadata=_TARGET)
    """Highest acceptable rate of doubles read as no sheet, per million doubles; no target if not given."""
    no_sheet_as_single: float | None = field(default=None, metadata=_TARGET)
    """Highest acceptable rate of no sheet read as a single sheet, per million spaces; a default target applies if not
    given."""
    no_sheet_as_double: float | None = field(default=None, metadata=_TARGET)
    """Highest acceptable rate of no sheet read as a double, per million spaces; no target if not given."""


@dataclass(frozen=True, kw_only=True)
class Require:
    """Properties that a detector class must have to be considered."""

    housing: Sequence[str] = field(default=(), metadata=_WORDS)
    """Acceptable threads or housings, any one of them; all if empty."""
    output: Sequence[str] = field(default=(), metadata=_WORDS)
    """Acceptable outputs, any one of them; all if empty."""
    supply: Sequence[str] = field(default=(), metadata=_WORDS)
    """Acceptable supplies as the catalogue writes them, any one of them; all if empty."""
    ingress: str | None = field(
        default=None,
        metadata=about(
            shape="IP[0-6][0-9]K?(/IP[0-6][0-9]K?){0,3}", expected="a text as IP65, or several as IP66/IP67"
        ),
    )
    """Lowest acceptable degree of protection (IEC 60529), such as IP65; any if not given."""
    temperature_min_c: float | None = field(default=None, metadata=_CLASS_TEMPERATURE)
    """Temperature in °C down to which the class must be rated, in addition to the air of the job; no such demand if not
    given."""
    temperature_max_c: float | None = field(default=None, metadata=_CLASS_TEMPERATURE)
    """Temperature in °C up to which the class must be rated, in addition to the air of the job; no such demand if not
    given."""
    contactless: bool | None = None
    """Whether the detector must not touch the sheet; no such demand if not given."""


@dataclass(frozen=True, kw_only=True)
class Circumstances(Record):
    """The line, the air, the controller and the targets that a sheet is detected under."""

    reference: str | None = field(default=None, metadata=about(longest=LONGEST_REFERENCE))
    """The caller's own reference of the job, repeated in the answer and without other effect; null in the answer if not
    given."""
    line: Line = Line()
    """The machine where the detector is mounted."""
    environment: Environment = Environment()
    """Temperature, humidity and pressure of the air at the detector."""
    controller: Controller = Controller()
    """The controller that reads the detector's output."""
    targets: Targets = Targets()
    """Target values: the highest acceptable misread rates."""
    catalogue: str | None = None
    """Name of the catalogue of detector classes to choose from; the service's default catalogue if not given."""
    stock: str | None = None
    """Name of the stock that article numbers of sheets are of; the service's first stock if not given."""


@dataclass(frozen=True, kw_only=True)
class Prefer:
    """Preferences: they change the effort that a class counts with in the ranking, or leave out classes of too much
    effort."""

    principles: Sequence[str] = field(default=(), metadata=_WORDS)
    """Sensing principles whose classes count with an effort lower by 1; none if empty."""
    contactless: bool | None = None
    """Whether classes that touch the sheet count with an effort higher by 1; no preference if not given."""
    effort_max: int | None = field(default=None, metadata=about(ge=1, le=5))
    """Highest acceptable effort of a class on the scale of 1 to 5; no limit if not given."""


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """Which detector classes a recommendation may name, and how many recommendations are returned."""

    require: Require = Require()
    """Properties that a detector class must have to be considered."""
    prefer: Prefer = Prefer()
    """Preferences among the classes that are considered."""
    principles: Sequence[str] = field(default=(), metadata=_WORDS)
    """Sensing principles to consider; all if empty."""
    classes: Sequence[str] = field(default=(), metadata=about(most=200))
    """Ids of the only detector classes to consider; all if empty."""
    limit: int = field(default=5, metadata=about(ge=1, le=20))
    """Highest number of recommendations to return."""


@dataclass(frozen=True, kw_only=True)
class Job(Circumstances, Wishes):
    """A job: the sheets, the line, the air, and what is wanted of the answer."""

    sheets: Sequence[Sheet] = field(metadata=about(fewest=1, most=MAX_SHEETS))
    """The sheets that the detector has to serve, at least one."""
    keep_sequence: bool = False
    """Whether the sheets run in the sequence given, so that change-overs are counted along it."""


@dataclass(frozen=True, kw_only=True)
class SetupSheetQuestion(Job):
    """A job, and which of its recommendations is printed as a set-up sheet."""

    rank: int = field(default=1, metadata=about(ge=1, le=20))
    """Rank of the recommendation to print, from 1."""
    setup: int = field(default=0, metadata=about(ge=0, le=100))
    """Index of the set-up within the recommendation, from 0."""
    paper: Paper = "a4"
    """Size of the paper to print on."""
    language: Literal["en", "de"] | None = None
    """Language of the page; chosen by the header `Accept-Language` if not given."""
