"""Readings: what to expect of a set-up, what readings say of a sample, what is wrong with a machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from sheetmargin.contract.answer import Answer, Margin, Percentiles, Recommendation, SheetSummary
from sheetmargin.contract.fields import DB, PPM, SIGNAL, about
from sheetmargin.contract.job import Circumstances, Job, Sheet, Wishes
from sheetmargin.contract.notes import Assumption, Note
from sheetmargin.contract.shown import Shown
from sheetmargin.contract.trials import GAP, TILT, InstalledBand

State = Literal["no_sheet", "single", "double"]
Symptom = Literal[
    "false-stops",
    "missed-doubles",
    "flicker",
    "no-open-path",
    "depends-on-temperature",
    "depends-on-speed",
    "depends-on-position",
    "only-some-sheets",
]

MAX_READINGS = 200
_FIGURE = about(digits=4)


@dataclass(frozen=True, kw_only=True)
class InstalledProfile:
    """Profile of an installed detector: band and hold time, which are set together."""

    band: InstalledBand | None = None
    """Readings that count as a single sheet; the best band for the sheet is calculated if not given."""
    hold_ms: float | None = field(default=None, metadata=about(unit="ms", gt=0, le=60_000))
    """Hold time of the output in ms; if not given, calculated where line and controller are known."""


@dataclass(frozen=True, kw_only=True)
class InstalledSetup:
    """A detector as it is mounted and set."""

    detector_class: str
    """Id of the detector class in the catalogue."""
    gap_mm: float = field(metadata=GAP)
    """Gap in mm from sensing face to sensing face."""
    tilt_deg: float = field(default=0.0, metadata=TILT)
    """Tilt in ° of the detector's axis against the sheet's normal, 0 where perpendicular."""
    profile: InstalledProfile = InstalledProfile()
    """Band and hold time that are set."""


@dataclass(frozen=True, kw_only=True)
class ComparisonQuestion(Job):
    """A job, and two detector classes or two installed set-ups to compare for it."""

    between: Sequence[str] | None = field(default=None, metadata=about(fewest=2, most=2))
    """Ids of the two detector classes to compare, each at its best settings; null where `setups` is given."""
    setups: Sequence[InstalledSetup] | None = field(default=None, metadata=about(fewest=2, most=2))
    """The two set-ups to compare, each as it is mounted and set; null where `between` is given."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """What a prediction steps through for a plot, one of three: gaps with tilts, positions of the sheet, or grammages.
    At most 144 places, or what a smooth line needs."""

    gap_mm: Sequence[float] = field(default=(), metadata=GAP | about(most=12))
    """Gaps in mm from face to face, rising; together with `tilt_deg`."""
    tilt_deg: Sequence[float] = field(default=(), metadata=TILT | about(most=12))
    """Tilts in ° against the sheet's normal, rising; together with `gap_mm`."""
    position_mm: Sequence[float] = field(default=(), metadata=about(unit="mm", ge=-1000, le=1000, most=201))
    """Positions of the sheet in mm from the middle of the gap, positive towards the receiver."""
    grammage_gsm: Sequence[float] = field(default=(), metadata=about(unit="g/m2", ge=3, le=200_000, most=24))
    """Grammages of the same sheet in g/m²."""


@dataclass(frozen=True, kw_only=True)
class MachineReading:
    """One reading on a machine: the state that was in the detector, and the level in one of three units."""

    state: State
    """State that was in the detector when it was read."""
    attenuation_db: float | None = field(default=None, metadata=about(unit="dB", ge=-100, le=300))
    """Attenuation in dB relative to the open path; not given where the level is in another unit."""
    level_pct: float | None = field(default=None, metadata=about(unit="%", ge=-1e6, le=1e6))
    """Level as an amplitude in % of the open-path level; not given where it is in another unit."""
    volts: float | None = field(default=None, metadata=about(unit="V", ge=-1e6, le=1e6))
    """Level in V in proportion to the amplitude, which needs readings without a sheet too; not given where it is in
    another unit."""
    specimen: str | None = field(default=None, metadata=about(longest=40))
    """Name of the specimen: readings of one name are of the same sheets, not laid anew; each reading is one of its own
    if not given."""


@dataclass(frozen=True, kw_only=True)
class BenchReading(MachineReading):
    """One reading on a test bench: the set-up, the state that was in the detector, and the level in one of three
    units."""

    detector_class: str
    """Id of the detector class in the catalogue."""
    gap_mm: float = field(metadata=GAP)
    """Gap in mm from sensing face to sensing face."""
    tilt_deg: float = field(default=0.0, metadata=TILT)
    """Tilt in ° of the detector's axis against the sheet's normal, 0 where perpendicular."""


@dataclass(frozen=True, kw_only=True)
class SheetQuestion(Circumstances):
    """The sheet, the line, the air and the targets that a call about readings is made for."""

    sheet: Sheet
    """The sheet that is or would be read."""


@dataclass(frozen=True, kw_only=True)
class PredictionQuestion(SheetQuestion):
    """A set-up and a sheet whose readings are to be predicted, with a grid where a plot is wanted."""

    setup: InstalledSetup
    """The set-up to predict readings for."""
    grid: Grid | None = None
    """What to step through for a plot; only the set-up itself is predicted if not given."""


@dataclass(frozen=True, kw_only=True)
class FitQuestion(SheetQuestion, Wishes):
    """Readings of a sample, and the job that the fitted sheet is for."""

    readings: Sequence[BenchReading] = field(metadata=about(fewest=1, most=MAX_READINGS))
    """Readings of no sheet, single sheets and doubles on a test bench."""


@dataclass(frozen=True, kw_only=True)
class DiagnosisQuestion(SheetQuestion):
    """An installed ultrasonic set-up, the symptoms noticed, and what was read there."""

    setup: InstalledSetup
    """The set-up as it is installed."""
    symptoms: Sequence[Symptom] = field(default=(), metadata=about(most=8))
    """Symptoms that were noticed; none if empty."""
    readings: Sequence[MachineReading] = field(default=(), metadata=about(most=MAX_READINGS))
    """Readings at the installed set-up; dB and % count from the open path as it was taught."""


@dataclass(frozen=True, kw_only=True)
class MarginMap:
    """Smallest margin and median readings at every gap (rows) and tilt (columns)."""

    gap_mm: Sequence[float] = field(metadata=about(unit="mm", decimals=1))
    """Gaps of the rows in mm."""
    tilt_deg: Sequence[float] = field(metadata=about(unit="deg", decimals=1))
    """Tilts of the columns in °."""
    margin: Sequence[Sequence[float]] = field(metadata=SIGNAL)
    """Smallest margin in the unit of the signal, with the band of the profile, or the best band of each place without
    one."""
    single: Sequence[Sequence[float]] = field(metadata=SIGNAL)
    """Median reading of a single sheet in the unit of the signal."""
    double: Sequence[Sequence[float]] = field(metadata=SIGNAL)
    """Median reading of a double in the unit of the signal."""


@dataclass(frozen=True, kw_only=True)
class AtPosition:
    """Reading of a single sheet at one position between the faces, standing waves included."""

    position_mm: float = field(metadata=about(unit="mm", decimals=3))
    """Position of the sheet in mm from the middle of the gap, positive towards the receiver."""
    single: float = field(metadata=SIGNAL)
    """Median reading of a single sheet in the unit of the signal."""


@dataclass(frozen=True, kw_only=True)
class AtGrammage:
    """Readings of a sheet of another grammage with the band unchanged."""

    grammage_gsm: float = field(metadata=about(unit="g/m2", decimals=2))
    """Grammage of the sheet in g/m²."""
    no_sheet: Percentiles
    """Readings without a sheet in the detector."""
    single: Percentiles
    """Readings of a single sheet of it."""
    double: Percentiles
    """Readings of a double of such sheets."""
    margin: Margin
    """Margin of each state to the nearest threshold of the band."""


@dataclass(frozen=True, kw_only=True)
class Versions:
    """What a prediction and a diagnosis tell beside their own subject."""

    reference: str | None
    """The caller's own reference; null where the request gives none."""
    language: str = field(default="", metadata=about(worded=True))
    """Language of the texts of the answer, `en` or `de`."""
    model_version: str
    """Version of the physics, the material library and the decision rules."""
    catalogue_version: str
    """Version of the content of the catalogue."""
    sheets: Sequence[SheetSummary] = ()
    """The sheet as it was understood."""
    assumptions: Sequence[Assumption]
    """What was assumed where the request does not say."""
    cautions: Sequence[Note]
    """What to be careful about, from safety to what was not calculated."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Prediction(Shown, Versions):
    """Expected readings, margins and misreads of a set-up, and what the grid steps through."""

    predicted: Recommendation
    """The set-up in the form of a recommendation."""
    gap_tilt: MarginMap | None
    """Margins over gap and tilt; null where the grid does not step through them."""
    positions: Sequence[AtPosition]
    """Readings over the position of the sheet; empty where the grid does not step through it."""
    grammages: Sequence[AtGrammage]
    """Readings over the grammage; empty where the grid does not step through it."""


@dataclass(frozen=True, kw_only=True)
class FittedInterval:
    """A value with the interval that holds it with a probability of 90 %."""

    low: float = field(metadata=_FIGURE)
    """Lower end of the interval, in the unit of the parameter's name."""
    nominal: float = field(metadata=_FIGURE)
    """Best value, in the unit of the parameter's name."""
    high: float = field(metadata=_FIGURE)
    """Upper end of the interval, in the unit of the parameter's name."""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One parameter of the sheet before and after the readings."""

    name: str
    """Name of the parameter: grammage_gsm, stiffness_factor (of all moduli), loss_factor, trapped_air_um (median) or
    trapped_air_width (standard deviation of its logarithm)."""
    library: FittedInterval
    """Value and interval as the library has them."""
    fitted: FittedInterval
    """Value and interval as the readings have them."""
    sigma_share: float = field(metadata=about(decimals=3))
    """Share of the library's standard deviation (of the logarithm) that remains after the readings; 1 is all of it."""
    informative: bool
    """Whether the readings tell something about this parameter."""


@dataclass(frozen=True, kw_only=True)
class Residual:
    """One reading compared with the fitted sheet."""

    index: int
    """Index of the reading in the request, from 0."""
    state: str
    """State that was in the detector when it was read."""
    detector_class: str
    """Id of the detector class that was read."""
    gap_mm: float = field(metadata=about(unit="mm", decimals=1))
    """Gap in mm at which it was read."""
    tilt_deg: float = field(metadata=about(unit="deg", decimals=1))
    """Tilt in ° at which it was read."""
    measured_db: float = field(metadata=about(unit="dB", decimals=2))
    """Measured attenuation in dB relative to the open path."""
    fitted_db: float = field(metadata=about(unit="dB", decimals=2))
    """Attenuation in dB of the fitted sheet at the same place."""
    residual_db: float = field(metadata=about(unit="dB", decimals=2))
    """Measured attenuation minus that of the fitted sheet, in dB."""
    sigma_db: float = field(metadata=about(unit="dB", decimals=2))
    """Expected standard deviation of that difference in dB, the model's own uncertainty at this place included."""
    outlier: bool
    """Whether it lies so far from the fit that it counts for little."""


@dataclass(frozen=True, kw_only=True)
class FittedSample:
    """What the readings tell about the sheet."""

    sheet: Sheet
    """The fitted sheet, in the form that every call takes."""
    library_sheet: SheetSummary
    """The sheet as the library has it."""
    estimates: Sequence[Estimate]
    """Each parameter before and after the readings."""
    covariance: Sequence[Sequence[float]] = field(metadata=_FIGURE)
    """Covariance of the logarithms of the parameters, in the order of `estimates`."""
    residuals: Sequence[Residual]
    """Each reading with a sheet, compared with the fitted sheet."""
    p_value: float = field(metadata=about(decimals=4))
    """Probability that readings of such a sheet lie as far from the model as these."""
    notes: Sequence[Note]
    """What the readings cannot tell, and where the model does not explain them."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Fit(Shown):
    """A fitted sheet, and the recommendations for it beside those for the library's sheet."""

    reference: str | None
    """The caller's own reference; null where the request gives none."""
    fit: FittedSample
    """What the readings tell about the sheet."""
    changed: Sequence[Note]
    """What the fit changes in the first recommendation."""
    library: Answer
    """The answer for the sheet as the library has it."""
    fitted: Answer
    """The answer for the fitted sheet."""

    @property
    def sheet(self) -> Sheet:
        """The fitted sheet, in the form that every call takes."""
        return self.fit.sheet


@dataclass(frozen=True, kw_only=True)
class Rates:
    """Misread rates of a single reading."""

    single_as_double: float = field(metadata=PPM)
    """False stops per million single sheets."""
    double_as_single: float = field(metadata=PPM)
    """Missed doubles per million doubles."""
    no_sheet_as_single: float = field(metadata=PPM)
    """Readings of no sheet as a single sheet, per million."""
    no_sheet_as_double: float = field(metadata=PPM)
    """Readings of no sheet as a double, per million."""


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One possible cause of the misreads, the test that tells it from the next cause, and its remedy."""

    rank: int
    """Rank of the cause, from 1 for the likeliest."""
    cause: Note
    """The cause as a sentence."""
    probability: float = field(metadata=about(decimals=4))
    """Probability of the cause, from 0 to 1."""
    no_sheet_db: float = field(metadata=DB)
    """Attenuation in dB without a sheet if this is the cause, in its likeliest case."""
    single_db: float = field(metadata=DB)
    """Attenuation in dB of a single sheet if this is the cause, in its likeliest case."""
    double_db: float = field(metadata=DB)
    """Attenuation in dB of a double if this is the cause, in its likeliest case."""
    rates_ppm: Rates
    """Misread rates per million if this is the cause, in its likeliest case."""
    against: str | None
    """Code of the cause that the test tells it from; null where no test does."""
    test: Note | None
    """Test that tells it from the next cause; null where no test does."""
    deviations: float | None = field(metadata=about(decimals=1))
    """Difference that the test shows, in standard deviations; null where no test does."""
    remedy: Note
    """What to do if this is the cause."""
    remedied_ppm: Rates
    """Misread rates per million after the remedy."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Diagnosis(Shown, Versions):
    """Possible causes, likeliest first, each with the test that tells it from the next and with its remedy."""

    computed: Recommendation
    """The set-up as it should be, in the form of a recommendation."""
    causes: Sequence[Cause]
    """Possible causes of the misreads, likeliest first."""

    @property
    def likeliest(self) -> Cause | None:
        """The cause ranked first."""
        return self.causes[0] if self.causes else None
