"""The answer to a job: what to buy, how to set it, whether it will work, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from sheetmargin.contract.fields import MM, MS, PPM, SIGNAL, about
from sheetmargin.contract.job import Job
from sheetmargin.contract.mounting import Alignment, Geometry, Mounting, Timing
from sheetmargin.contract.notes import Alternative, Assumption, Note, NotServed, Reason, RuledOut, Scalar
from sheetmargin.contract.shown import Shown, make_frame

Verdict = Literal["suitable", "trial-needed", "unsuitable"]
"""suitable: every target is met, with a chance of 0.95 or more; trial-needed: only a bench trial can tell;
unsuitable: it will not do."""


@dataclass(frozen=True, kw_only=True)
class Band:
    """Readings that count as a single sheet: below is none, above is two."""

    low: int
    """Lower threshold."""
    high: int
    """Upper threshold."""
    unit: str
    """Unit of both."""
    quantity: str
    """What is read."""

    def __str__(self) -> str:
        return f"{self.low} to {self.high} {self.unit}"


@dataclass(frozen=True, kw_only=True)
class Profile:
    """What is set together: the band and the hold time."""

    id: str
    """States the band."""
    band: Band
    """What counts as one sheet."""
    hold_ms: float | None = field(metadata=MS)
    """How long the output is held."""


@dataclass(frozen=True, kw_only=True)
class ClassSummary:
    """The detector class of a set-up."""

    id: str
    """Class id."""
    principle: str
    """Sensing principle."""
    frequency_khz: float | None = field(metadata=about(unit="kHz", decimals=1))
    """Working frequency."""
    illustrative: bool
    """Whether the class is invented by physical parameters, and no product."""


@dataclass(frozen=True, kw_only=True)
class Order:
    """One thing to order."""

    role: str
    """What it is for."""
    part_number: str | None
    """Part number of the catalogue's owner."""
    quantity: int
    """How many."""


@dataclass(frozen=True, kw_only=True)
class Sound:
    """An ultrasonic pair."""

    type: Literal["sound"] = field(default="sound", metadata=about(always=True))
    """Kind of the head."""
    face_radius_mm: float = field(metadata=MM)
    """Radius of either face."""
    drive: str
    """gated: reads the first arrival of a burst; continuous: a steady tone."""


@dataclass(frozen=True, kw_only=True)
class Coil:
    """Cross section of either coil of an eddy-current pair."""

    type: Literal["coil"] = field(default="coil", metadata=about(always=True))
    """Kind of the head."""
    inner_radius_mm: float = field(metadata=MM)
    """Inner radius."""
    outer_radius_mm: float = field(metadata=MM)
    """Outer radius."""
    length_mm: float = field(metadata=MM)
    """Length along the axis."""
    recess_mm: float = field(metadata=MM)
    """How far behind the face it lies."""


@dataclass(frozen=True, kw_only=True)
class Electrode:
    """Either electrode of a capacitive pair."""

    type: Literal["electrode"] = field(default="electrode", metadata=about(always=True))
    """Kind of the head."""
    width_mm: float = field(metadata=MM)
    """Across travel."""
    length_mm: float = field(metadata=MM)
    """Along travel."""


@dataclass(frozen=True, kw_only=True)
class Light:
    """An optical pair."""

    type: Literal["light"] = field(default="light", metadata=about(always=True))
    """Kind of the head."""
    wavelength_nm: float = field(metadata=about(unit="nm", decimals=0))
    """Wavelength."""
    spot_diameter_mm: float = field(metadata=MM)
    """Diameter of the spot on the sheet."""


@dataclass(frozen=True, kw_only=True)
class Roller:
    """Contact of a thickness roller."""

    type: Literal["roller"] = field(default="roller", metadata=about(always=True))
    """Kind of the head."""
    force_n: float | None = field(metadata=about(unit="N", decimals=2))
    """Force."""
    width_mm: float | None = field(metadata=MM)
    """Across travel."""
    length_mm: float | None = field(metadata=MM)
    """Along travel."""


@dataclass(frozen=True, kw_only=True)
class Laser:
    """Either laser of a pair that measures thickness."""

    type: Literal["laser"] = field(default="laser", metadata=about(always=True))
    """Kind of the head."""
    spot_diameter_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Diameter of the spot."""
    stand_off_mm: float = field(metadata=MM)
    """From face to sheet."""


Head = Sound | Coil | Electrode | Light | Roller | Laser


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One detector pair as it is mounted and set."""

    index: int
    """Position of the set-up, from 0."""
    sheets: Sequence[int]
    """Indices of the job's sheets that it serves."""
    detector_class: ClassSummary
    """What it is."""
    head: Head | None
    """What either head senses with, by its `type`; null of a principle whose heads have no description."""
    geometry: Geometry
    """How it stands."""
    profile: Profile
    """What it is set to."""
    alignment: Alignment | None
    """How well it has to be aligned."""
    mounting: Mounting | None
    """Where it is mounted; null until the line is known."""
    timing: Timing | None
    """Time at line speed; null until the line is known."""
    order_items: Sequence[Order]
    """What to order."""


@dataclass(frozen=True, kw_only=True)
class Percentiles:
    """Spread of a state."""

    p1: float = field(metadata=SIGNAL)
    """1st percentile."""
    p50: float = field(metadata=SIGNAL)
    """Median."""
    p99: float = field(metadata=SIGNAL)
    """99th percentile."""


@dataclass(frozen=True, kw_only=True)
class Signal:
    """What the detector reads in each state."""

    quantity: str
    """What is read."""
    unit: str
    """Its unit."""
    no_sheet: Percentiles
    """No sheet."""
    single: Percentiles
    """One sheet."""
    double: Percentiles
    """Two sheets; where plies are counted, a ply too many."""
    one_ply_missing: Percentiles | None
    """A ply too few, where plies are counted; else null."""


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Least distance of a state's p1 to p99 from an edge of the band, in the signal's unit; negative if it crosses."""

    no_sheet: float = field(metadata=SIGNAL)
    """No sheet."""
    single: float = field(metadata=SIGNAL)
    """One sheet."""
    double: float = field(metadata=SIGNAL)
    """Two sheets."""


@dataclass(frozen=True, kw_only=True)
class Misread:
    """Misreads per million events of the true state, over what is not known of the job; null until computed."""

    estimate: float | None = field(metadata=PPM)
    """The median: half of such jobs have fewer."""
    mean: float | None = field(metadata=PPM)
    """The mean over such jobs: where a few of them are bad it lies far above the median."""
    low: float | None = field(metadata=PPM)
    """5 % of such jobs have fewer."""
    high: float | None = field(metadata=PPM)
    """95 % of such jobs have fewer."""
    floored: bool
    """Whether the estimate is the floor below which nothing is claimed."""


@dataclass(frozen=True, kw_only=True)
class Misreads:
    """The six ways to misread."""

    single_as_double: Misread
    """A false stop."""
    single_as_no_sheet: Misread
    """A sheet overlooked."""
    double_as_single: Misread
    """A double missed."""
    double_as_no_sheet: Misread
    """A double taken for a gap."""
    no_sheet_as_single: Misread
    """A gap taken for a sheet."""
    no_sheet_as_double: Misread
    """A gap taken for a double."""


@dataclass(frozen=True, kw_only=True)
class SheetResult:
    """One sheet on one set-up."""

    index: int
    """Position of the sheet in the job, from 0."""
    setup: int
    """Index of its set-up."""
    signal: Signal
    """What is read."""
    margin: Margin
    """What is left."""
    misread_ppm: Misreads
    """What goes wrong."""
    chance: float = field(metadata=about(decimals=2))
    """How likely every target is met for this sheet, over what is not known of the job."""


@dataclass(frozen=True, kw_only=True)
class Serves:
    """How many of the job's sheets are served."""

    count: int
    """Sheets that are served."""
    of: int
    """Sheets of the job."""


@dataclass(frozen=True, kw_only=True)
class Changeovers:
    """Changes while the list is run."""

    detector_class: int = field(metadata=about(key="class"))
    """Of detector class."""
    geometry: int
    """Of gap or tilt."""
    profile: int
    """Of profile."""


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """What to buy and how to set it."""

    rank: int
    """From 1."""
    verdict: Verdict
    """Of the worst of the sheets that it serves."""
    chance: float = field(metadata=about(decimals=2))
    """How likely every target of all sheets that it serves is met, over what is not known of the job."""
    limited_by: str | None = None
    """Code of the reason, or of the caution, that makes the verdict worse than the chance alone would let it be; null
    where the chance decides."""
    effort: int
    """To buy and mount its classes: 1 to 5 each, and added where there are several."""
    serves: Serves
    """How many of the job's sheets it serves."""
    not_served: Sequence[NotServed]
    """Sheets that it cannot serve, with the reason."""
    changeovers: Changeovers
    """What has to be changed while the list is run."""
    setups: Sequence[Setup]
    """Set-ups, one for the whole list where possible."""
    sheets: Sequence[SheetResult]
    """How each sheet fares."""
    reasons: Sequence[Reason]
    """Why."""


@dataclass(frozen=True, kw_only=True)
class SheetSummary:
    """A sheet as it was understood."""

    index: int
    """Position of the sheet in the job, from 0."""
    label: str | None
    """The caller's own name of it."""
    material: str
    """Material id."""
    grammage_gsm: float = field(metadata=about(unit="g/m2", decimals=2))
    """Mass per area."""
    thickness_um: float = field(metadata=about(unit="um", decimals=1))
    """Thickness."""
    density_kg_m3: float = field(metadata=about(unit="kg/m3", decimals=1))
    """Density."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What an input may turn out to be, and what that makes of the set-up."""

    answer: Literal["yes", "no"] | None
    """Of a question; null of a quantity."""
    low: float | None = field(metadata=about(digits=3))
    """Where the range begins, in the input's unit; null where it has no end there."""
    high: float | None = field(metadata=about(digits=3))
    """Where the range ends, in the input's unit; null where it has no end there."""
    share: float = field(metadata=about(decimals=2))
    """How likely it turns out so."""
    chance: float = field(metadata=about(decimals=2))
    """How likely every target is met then."""
    verdict: Verdict
    """The verdict then."""


@dataclass(frozen=True, kw_only=True)
class FindOut(Note):
    """An input that was not given and that would move the chance: what to find out next, and how to measure it."""

    input: str
    """Name of the input, stable."""
    pointers: Sequence[str]
    """JSON pointers of the fields of the job that it is entered in; empty of readings, which are fitted."""
    unit: str | None
    """Unit of the ranges; null of a question."""
    effect: float = field(metadata=about(decimals=2))
    """By how much it would move the chance: the standard deviation of the chance once it is known."""
    findings: Sequence[Finding]
    """What it may turn out to be, by rising value: ranges that lead to different verdicts, or both answers."""
    detector_class: str
    """Id of the class that it is told for: the one ranked first, or the nearest where nothing serves."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Answer(Shown):
    """Ranked recommendations, and everything that was assumed, ruled out and to be careful about."""

    reference: str | None
    """The job's reference."""
    job: Job
    """The job that is answered, in its one spelling: defaults filled in, what was not given left out, numbers as they
    came; without its reference. It may be asked again as it is."""
    model_version: str
    """Version of the physics, the library and the decision."""
    catalogue_version: str
    """Version of the catalogue."""
    verdict: Verdict
    """Of the worst sheet of the recommendation ranked first: unsuitable where that leaves one unserved."""
    sheets: Sequence[SheetSummary]
    """The sheets as they were understood."""
    recommendations: Sequence[Recommendation]
    """Best first; empty when nothing serves."""
    alternatives: Sequence[Alternative]
    """Classes that could serve and are not listed: better ones fill the limit, or serve more of the sheets."""
    ruled_out: Sequence[RuledOut]
    """Classes that cannot serve, with the reason."""
    trial: Sequence[Note]
    """What to send and measure: of each sheet that is tested, with its `sheet` and `setup` among the values, then what
    is done with all of them."""
    assumptions: Sequence[Assumption]
    """What was taken where the job does not say."""
    cautions: Sequence[Note]
    """What to be careful about."""
    would_serve: Sequence[Note] = ()
    """Where nothing serves all sheets: what of the job would have to change for a class to do so, as computed."""
    find_out: Sequence[FindOut] = ()
    """What to find out next, what moves the chance most first: at most five inputs that were not given. Empty where
    nothing would move it much."""

    def to_frame(self, library: Literal["pandas", "polars"] = "pandas") -> Any:
        """A frame with a row for each recommendation, best first; the columns are those of the command `batch`."""
        return make_frame[-1](self, library)

    @property
    def best(self) -> Recommendation | None:
        """The recommendation ranked first, or None where nothing serves."""
        return self.recommendations[0] if self.recommendations else None


@dataclass(frozen=True, kw_only=True)
class ComparedStep:
    """One step of the order of recommendations, as two classes fare at it."""

    step: str
    """Name of the step; the order is that of this list, but for the deciding step, which stands first."""
    first: Scalar = field(metadata=about(digits=4))
    """What the better of the two has."""
    second: Scalar = field(metadata=about(digits=4))
    """What the other has."""
    decides: bool
    """Whether this is the first step at which they differ."""


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Two detector classes for one job, the deciding step first."""

    reference: str | None
    """The job's reference."""
    model_version: str
    """Version of the physics, the library and the decision."""
    catalogue_version: str
    """Version of the catalogue."""
    better: str | None
    """Id of the class that is ranked first of the two; null where neither serves the job."""
    steps: Sequence[ComparedStep]
    """The order's steps, the deciding one first; empty where one of the two cannot serve."""
    recommendations: Sequence[Recommendation]
    """How each would be set, the better first; only those that can serve."""
    ruled_out: Sequence[RuledOut]
    """Why one or both cannot."""
    cautions: Sequence[Note]
    """What to be careful about."""
