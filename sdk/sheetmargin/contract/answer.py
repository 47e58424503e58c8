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
    """The band: readings inside it count as a single sheet, those beyond one threshold as no sheet, beyond the other as
    a double."""

    low: int
    """Lower threshold of the band, in the band's unit."""
    high: int
    """Upper threshold of the band, in the band's unit."""
    unit: str
    """Unit of both thresholds, such as dB, fF or µm."""
    quantity: str
    """Quantity that the detector reads, such as attenuation relative to the open path."""

    def __str__(self) -> str:
        return f"{self.low} to {self.high} {self.unit}"


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Profile of a set-up: the band and the hold time, which are set together."""

    id: str
    """Id of the profile, made of its band."""
    band: Band
    """Readings that count as a single sheet."""
    hold_ms: float | None = field(metadata=MS)
    """Hold time of the output in ms; null where the controller or the line is not known, or no hold time serves."""


@dataclass(frozen=True, kw_only=True)
class ClassSummary:
    """The detector class of a set-up in short."""

    id: str
    """Id of the class in the catalogue."""
    principle: str
    """Id of the class's sensing principle."""
    frequency_khz: float | None = field(metadata=about(unit="kHz", decimals=1))
    """Working frequency in kHz; null where the principle has none."""
    illustrative: bool
    """Whether the class is an invented example and not a product."""
    name: str = field(default="", metadata=about(worded=True))
    """How it senses and its frequency, in the language of the answer: "ultrasonic pair, 500 kHz"."""


@dataclass(frozen=True, kw_only=True)
class Order:
    """One item to order, with its quantity."""

    role: str
    """What the item is for, as the catalogue names it."""
    part_number: str | None
    """Part number of the catalogue's owner; null where the catalogue has none."""
    quantity: int
    """Number of pieces to order."""


@dataclass(frozen=True, kw_only=True)
class Sound:
    """Head of an ultrasonic pair, emitter and receiver alike."""

    type: Literal["sound"] = field(default="sound", metadata=about(always=True))
    """Kind of the head: `sound`."""
    face_radius_mm: float = field(metadata=MM)
    """Radius of either sensing face in mm."""
    drive: str
    """How the emitter is driven. gated: the receiver reads the first arrival of a burst; continuous: a steady tone."""


@dataclass(frozen=True, kw_only=True)
class Coil:
    """Head of an eddy-current detector: cross section of a coil."""

    type: Literal["coil"] = field(default="coil", metadata=about(always=True))
    """Kind of the head: `coil`."""
    inner_radius_mm: float = field(metadata=MM)
    """Inner radius of the winding in mm."""
    outer_radius_mm: float = field(metadata=MM)
    """Outer radius of the winding in mm."""
    length_mm: float = field(metadata=MM)
    """Length of the winding along its axis in mm."""
    recess_mm: float = field(metadata=MM)
    """Depth in mm of the winding's front end behind the sensing face."""


@dataclass(frozen=True, kw_only=True)
class Electrode:
    """Head of a capacitive pair: one of two equal electrodes."""

    type: Literal["electrode"] = field(default="electrode", metadata=about(always=True))
    """Kind of the head: `electrode`."""
    width_mm: float = field(metadata=MM)
    """Width of the electrode across travel in mm."""
    length_mm: float = field(metadata=MM)
    """Length of the electrode along travel in mm."""


@dataclass(frozen=True, kw_only=True)
class Light:
    """Head of an optical pair, emitter and receiver alike."""

    type: Literal["light"] = field(default="light", metadata=about(always=True))
    """Kind of the head: `light`."""
    wavelength_nm: float = field(metadata=about(unit="nm", decimals=0))
    """Wavelength of the light in nm."""
    spot_diameter_mm: float = field(metadata=MM)
    """Diameter of the light spot on the sheet in mm."""


@dataclass(frozen=True, kw_only=True)
class Roller:
    """Head of a thickness roller, which runs on the sheet."""

    type: Literal["roller"] = field(default="roller", metadata=about(always=True))
    """Kind of the head: `roller`."""
    force_n: float | None = field(metadata=about(unit="N", decimals=2))
    """Force of the roller on the sheet in N; null where the catalogue does not tell."""
    width_mm: float | None = field(metadata=MM)
    """Width of the contact across travel in mm; null where the catalogue does not tell."""
    length_mm: float | None = field(metadata=MM)
    """Length of the contact along travel in mm; null where the catalogue does not tell."""


@dataclass(frozen=True, kw_only=True)
class Laser:
    """Head of a thickness sensor with two lasers, one above and one below the sheet."""

    type: Literal["laser"] = field(default="laser", metadata=about(always=True))
    """Kind of the head: `laser`."""
    spot_diameter_mm: float | None = field(metadata=about(unit="mm", decimals=2))
    """Diameter of the laser spot on the sheet in mm; null where the catalogue does not tell."""
    stand_off_mm: float = field(metadata=MM)
    """Distance in mm from the sensing face to the sheet."""


Head = Sound | Coil | Electrode | Light | Roller | Laser


@dataclass(frozen=True, kw_only=True)
class Setup:
    """A set-up: one detector as it is mounted and set."""

    index: int
    """Index of the set-up in its recommendation, from 0."""
    sheets: Sequence[int]
    """Indices of the sheets of the job that it serves, from 0."""
    detector_class: ClassSummary
    """The detector class to mount."""
    head: Head | None
    """What either head senses with, by its `type`; null of a principle whose heads have no description."""
    geometry: Geometry
    """Gap and tilt to set, with their usable ranges."""
    profile: Profile
    """Band and hold time to set."""
    alignment: Alignment | None
    """How exactly the heads must be aligned; null of a principle without a beam of sound."""
    mounting: Mounting | None
    """Where the heads are mounted; null of a detector that touches or guides the sheet."""
    timing: Timing | None
    """Times at line speed; null where they were not calculated."""
    order_items: Sequence[Order]
    """Parts to order for this set-up beyond those of the set-ups before it."""


@dataclass(frozen=True, kw_only=True)
class Percentiles:
    """Distribution of the readings of one state, in the unit of the signal."""

    p1: float = field(metadata=SIGNAL)
    """Reading that 1 % of the events of the state stay below, in the unit of the signal."""
    p50: float = field(metadata=SIGNAL)
    """Reading that half of the events of the state stay below: the median, in the unit of the signal."""
    p99: float = field(metadata=SIGNAL)
    """Reading that 99 % of the events of the state stay below, in the unit of the signal."""


@dataclass(frozen=True, kw_only=True)
class Signal:
    """Expected readings of no sheet, a single sheet and a double."""

    quantity: str
    """Quantity that the detector reads, such as attenuation relative to the open path."""
    unit: str
    """Unit of all readings, such as dB, fF or µm."""
    no_sheet: Percentiles
    """Readings without a sheet in the detector."""
    single: Percentiles
    """Readings of a single sheet."""
    double: Percentiles
    """Readings of a double; where plies are counted, of a sheet with one ply too many."""
    one_ply_missing: Percentiles | None
    """Readings of a sheet with one ply too few; null where plies are not counted."""


@dataclass(frozen=True, kw_only=True)
class Margin:
    """Margin of each state: distance of its 98 % range to the nearest threshold; negative where the range crosses
    it."""

    no_sheet: float = field(metadata=SIGNAL)
    """Margin of no sheet, in the unit of the signal."""
    single: float = field(metadata=SIGNAL)
    """Margin of a single sheet, in the unit of the signal."""
    double: float = field(metadata=SIGNAL)
    """Margin of a double, in the unit of the signal."""


@dataclass(frozen=True, kw_only=True)
class Misread:
    """Rate of one kind of misread, over all that is not known of the job; null where it was not calculated."""

    estimate: float | None = field(metadata=PPM)
    """Misreads per million events of the state that was there: the median over what is not known of the job; null where
    not calculated."""
    mean: float | None = field(metadata=PPM)
    """Mean of the rate, per million, over what is not known of the job, far above the median where few cases are bad;
    null where not calculated."""
    low: float | None = field(metadata=PPM)
    """Rate per million that 5 % of what the job may turn out to be stays below; null where not calculated."""
    high: float | None = field(metadata=PPM)
    """Rate per million that 95 % of what the job may turn out to be stays below; null where not calculated."""
    floored: bool
    """Whether the estimate is the floor, below which no lower rate is claimed."""


@dataclass(frozen=True, kw_only=True)
class Misreads:
    """The six kinds of misread of a sheet."""

    single_as_double: Misread
    """False stops: single sheets read as doubles."""
    single_as_no_sheet: Misread
    """Single sheets read as no sheet."""
    double_as_single: Misread
    """Missed doubles: doubles read as single sheets."""
    double_as_no_sheet: Misread
    """Doubles read as no sheet."""
    no_sheet_as_single: Misread
    """No sheet read as a single sheet."""
    no_sheet_as_double: Misread
    """No sheet read as a double."""


@dataclass(frozen=True, kw_only=True)
class SheetResult:
    """What a set-up reads of one sheet, and how far that can be trusted."""

    index: int
    """Index of the sheet in the job, from 0."""
    setup: int
    """Index of the set-up that serves it, from 0."""
    signal: Signal
    """Expected readings of no sheet, a single sheet and a double."""
    margin: Margin
    """Margin of each state to the nearest threshold of the band."""
    misread_ppm: Misreads
    """Expected misreads per million events of the state that was there."""
    chance: float = field(metadata=about(decimals=2))
    """Probability, from 0 to 1, that all targets are met for this sheet, over all that is not known of the job."""


@dataclass(frozen=True, kw_only=True)
class Serves:
    """How many of the job's sheets a recommendation serves."""

    count: int
    """Number of sheets that are served."""
    of: int
    """Number of sheets of the job."""


@dataclass(frozen=True, kw_only=True)
class Changeovers:
    """Number of change-overs of each kind while the list of sheets runs once."""

    detector_class: int = field(metadata=about(key="class"))
    """Change-overs to another detector class."""
    geometry: int
    """Change-overs to another gap or tilt of the same class."""
    profile: int
    """Change-overs to another profile at the same gap and tilt."""


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """A recommendation: what to mount, how to set it, and what to expect of it."""

    rank: int
    """Rank of the recommendation, from 1 for the best."""
    verdict: Verdict
    """Verdict of the worst of the sheets that it serves."""
    chance: float = field(metadata=about(decimals=2))
    """Probability, from 0 to 1, that all targets of all sheets that it serves are met, over all that is not known of
    the job."""
    limited_by: str | None = None
    """Code of the reason or caution that makes the verdict worse than the chance alone would; null where the chance
    decides."""
    effort: int
    """Effort to buy and mount its classes: 1 to 5 for each class, added up where there are several."""
    serves: Serves
    """How many of the job's sheets it serves."""
    not_served: Sequence[NotServed]
    """Sheets that it does not serve, each with the reason."""
    changeovers: Changeovers
    """Change-overs while the list of sheets runs once."""
    setups: Sequence[Setup]
    """Set-ups: a single one for the whole list where that is possible."""
    sheets: Sequence[SheetResult]
    """Expected readings, margins and misreads of each sheet that it serves."""
    reasons: Sequence[Reason]
    """Why it ranks where it does, and what its figures rest on."""


@dataclass(frozen=True, kw_only=True)
class SheetSummary:
    """A sheet of the job as it was understood."""

    index: int
    """Index of the sheet in the job, from 0."""
    label: str | None
    """The caller's own name of the sheet; null where the job gives none."""
    material: str
    """Id of its material or construction."""
    grammage_gsm: float = field(metadata=about(unit="g/m2", decimals=2))
    """Grammage of the correct sheet in g/m²."""
    thickness_um: float = field(metadata=about(unit="um", decimals=1))
    """Thickness of the correct sheet in µm."""
    density_kg_m3: float = field(metadata=about(unit="kg/m3", decimals=1))
    """Density of the sheet in kg/m³: its grammage over its thickness."""
    made_of: str = field(default="", metadata=about(worded=True))
    """Material and main size (grammage of paper and board, else thickness), in the language of the answer: "copy paper,
    80 g/m²"."""

    @property
    def name(self) -> str:
        """The label, else what it is made of."""
        return self.label or self.made_of


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that an input may turn out to be, and the verdict it leads to."""

    answer: Literal["yes", "no"] | None
    """The answer to a question; null where the input is a quantity."""
    low: float | None = field(metadata=about(digits=3))
    """Lower end of the range of the input, in the input's unit; null where the range has no lower end."""
    high: float | None = field(metadata=about(digits=3))
    """Upper end of the range of the input, in the input's unit; null where the range has no upper end."""
    share: float = field(metadata=about(decimals=2))
    """Probability, from 0 to 1, that the input turns out so."""
    chance: float = field(metadata=about(decimals=2))
    """Probability, from 0 to 1, that all targets are met if it does."""
    verdict: Verdict
    """Verdict of the set-up if it does."""


@dataclass(frozen=True, kw_only=True)
class FindOut(Note):
    """What to find out next: an input that was not given and that would move the chance, and how to measure it."""

    input: str
    """Stable name of the input to find out."""
    pointers: Sequence[str]
    """JSON pointers of the fields of the job that take it; empty for readings, which are fitted."""
    unit: str | None
    """Unit of the ranges of its findings; null where the input is a question."""
    effect: float = field(metadata=about(decimals=2))
    """Standard deviation of the chance, from 0 to 1, over what the input may turn out to be: how much it would move the
    chance."""
    findings: Sequence[Finding]
    """What the input may turn out to be, by rising value: ranges that lead to different verdicts, or both answers."""
    detector_class: str
    """Id of the class that this is calculated for: the one ranked first, or the nearest where nothing serves."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Answer(Shown):
    """Ranked recommendations, and everything that was assumed, ruled out and to be careful about."""

    reference: str | None
    """The caller's own reference of the job; null where it has none."""
    language: str = field(default="", metadata=about(worded=True))
    """Language of the texts of the answer, `en` or `de`."""
    job: Job
    """The job that is answered, in its one spelling: defaults filled in, fields that were not given left out, numbers
    as they came, no reference. It may be sent again as it is."""
    model_version: str
    """Version of the physics, the material library and the decision rules."""
    catalogue_version: str
    """Version of the content of the catalogue."""
    verdict: Verdict
    """Verdict of the recommendation ranked first, for its worst sheet; unsuitable where it leaves a sheet not
    served."""
    sheets: Sequence[SheetSummary]
    """The sheets of the job as they were understood."""
    recommendations: Sequence[Recommendation]
    """Recommendations, best first; empty where nothing serves."""
    alternatives: Sequence[Alternative]
    """Classes that could serve and are not recommended, as better ones fill the limit or serve more of the sheets."""
    ruled_out: Sequence[RuledOut]
    """Classes that cannot serve the job, each with the reason."""
    trial: Sequence[Note]
    """Steps of the trial that confirms the first recommendation: those of one sheet have its `sheet` and `setup` among
    the values, then follow those for all sheets."""
    assumptions: Sequence[Assumption]
    """What was assumed where the job does not say."""
    cautions: Sequence[Note]
    """What to be careful about, from safety to what was not calculated."""
    would_serve: Sequence[Note] = ()
    """Where nothing serves all sheets: changes of the job with which a class would, as calculated; else empty."""
    find_out: Sequence[FindOut] = ()
    """What to find out next, at most five inputs, the one that moves the chance most first; empty where nothing would
    move it much."""

    def to_frame(self, library: Literal["pandas", "polars"] = "pandas") -> Any:
        """A frame with a row for each recommendation, best first; the columns are those of the command `batch`."""
        return make_frame[-1](self, library)

    @property
    def best(self) -> Recommendation | None:
        """The recommendation ranked first, or None where nothing serves."""
        return self.recommendations[0] if self.recommendations else None


@dataclass(frozen=True, kw_only=True)
class ComparedStep:
    """One step of the ranking, with what each of the two compared classes has at it."""

    step: str
    """Name of the step. The list is in the order of the ranking, but for the deciding step, which comes first."""
    first: Scalar = field(metadata=about(digits=4))
    """Value of the better class at this step; null where it has none."""
    second: Scalar = field(metadata=about(digits=4))
    """Value of the other class at this step; null where it has none."""
    decides: bool
    """Whether this is the first step of the ranking at which the two differ."""


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Two detector classes or set-ups compared for one job, the deciding step first."""

    reference: str | None
    """The caller's own reference of the job; null where it has none."""
    language: str = field(default="", metadata=about(worded=True))
    """Language of the texts of the answer, `en` or `de`."""
    model_version: str
    """Version of the physics, the material library and the decision rules."""
    catalogue_version: str
    """Version of the content of the catalogue."""
    better: str | None
    """Id of the class that ranks first of the two; null where neither serves the job."""
    better_index: int | None = None
    """Index in the question of the one that ranks first, 0 or 1; null where neither serves the job."""
    sheets: Sequence[SheetSummary] = ()
    """The sheets as they were understood."""
    steps: Sequence[ComparedStep]
    """Steps of the ranking, the deciding one first; empty where one of the two cannot serve."""
    recommendations: Sequence[Recommendation]
    """How each class that can serve would be set, or how each set-up is, the better one first."""
    ruled_out: Sequence[RuledOut]
    """Why one of the classes or both cannot serve."""
    cautions: Sequence[Note]
    """What to be careful about, from safety to what was not calculated."""
