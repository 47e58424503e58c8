"""Readings: what to expect of a set-up, what readings say of a sample, what is wrong with a machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from sheetmargin.contract.answer import Answer, Margin, Percentiles, Recommendation, SheetSummary
from sheetmargin.contract.fields import DB, PPM, SIGNAL, about
from sheetmargin.contract.job import Circumstances, Sheet, Wishes
from sheetmargin.contract.notes import Assumption, Note
from sheetmargin.contract.shown import Shown

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
_GAP = about(unit="mm", ge=0, le=2000)
_TILT = about(unit="deg", ge=0, le=80)
_FIGURE = about(digits=4)


@dataclass(frozen=True, kw_only=True)
class InstalledBand:
    """Readings that count as a single sheet, in the unit of the class's signal."""

    low: int = field(metadata=about(ge=-1000, le=100_000))
    """Lower threshold."""
    high: int = field(metadata=about(ge=-1000, le=100_000))
    """Upper threshold."""


@dataclass(frozen=True, kw_only=True)
class InstalledProfile:
    """What is set together: the band and the hold time."""

    band: InstalledBand | None = None
    """What counts as one sheet; the best band if not given."""
    hold_ms: float | None = field(default=None, metadata=about(unit="ms", gt=0, le=60_000))
    """How long the output is held."""


@dataclass(frozen=True, kw_only=True)
class InstalledSetup:
    """A detector pair where it stands, and as it is set."""

    detector_class: str
    """Id of the class."""
    gap_mm: float = field(metadata=_GAP)
    """From face to face."""
    tilt_deg: float = field(default=0.0, metadata=_TILT)
    """Of the pair's axis against the sheet's normal."""
    profile: InstalledProfile = InstalledProfile()
    """What the receiver is set to."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """What to step through for a plot, one of three: gaps with tilts, positions of the sheet, or grammages.

    One question may ask for 144 places, or for what makes a smooth line.
    """

    gap_mm: Sequence[float] = field(default=(), metadata=_GAP | about(most=12))
    """Gaps, rising; with `tilt_deg`."""
    tilt_deg: Sequence[float] = field(default=(), metadata=_TILT | about(most=12))
    """Tilts, rising; with `gap_mm`."""
    position_mm: Sequence[float] = field(default=(), metadata=about(unit="mm", ge=-1000, le=1000, most=201))
    """Distances of the sheet from the middle of the gap, towards the receiver."""
    grammage_gsm: Sequence[float] = field(default=(), metadata=about(unit="g/m2", ge=3, le=200_000, most=24))
    """Grammages of the same sheet."""


@dataclass(frozen=True, kw_only=True)
class MachineReading:
    """One reading on a machine: what was in the beam, and the level in one of three units."""

    state: State
    """What was in the beam."""
    attenuation_db: float | None = field(default=None, metadata=about(unit="dB", ge=-100, le=300))
    """Attenuation of the open path."""
    level_pct: float | None = field(default=None, metadata=about(unit="%", ge=-1e6, le=1e6))
    """Amplitude in per cent of the open path's."""
    volts: float | None = field(default=None, metadata=about(unit="V", ge=-1e6, le=1e6))
    """In proportion to the amplitude; needs readings of the open path."""
    specimen: str | None = field(default=None, metadata=about(longest=40))
    """Readings of one specimen are of the same two sheets, not laid anew."""


@dataclass(frozen=True, kw_only=True)
class BenchReading(MachineReading):
    """One reading on a bench: where, what was in the beam, and the level in one of three units."""

    detector_class: str
    """Id of the class."""
    gap_mm: float = field(metadata=_GAP)
    """From face to face."""
    tilt_deg: float = field(default=0.0, metadata=_TILT)
    """Of the pair's axis against the sheet's normal."""


@dataclass(frozen=True, kw_only=True)
class SheetQuestion(Circumstances):
    """The job of one sheet behind a question about readings."""

    sheet: Sheet
    """The sheet."""


@dataclass(frozen=True, kw_only=True)
class PredictionQuestion(SheetQuestion):
    """What would I read? A set-up and a sheet, and a grid where a plot is wanted."""

    setup: InstalledSetup
    """The set-up."""
    grid: Grid | None = None
    """What to step through."""


@dataclass(frozen=True, kw_only=True)
class FitQuestion(SheetQuestion, Wishes):
    """Readings of a sample, and the job that they are to help."""

    readings: Sequence[BenchReading] = field(metadata=about(fewest=1, most=MAX_READINGS))
    """Readings of none, one and two sheets."""


@dataclass(frozen=True, kw_only=True)
class DiagnosisQuestion(SheetQuestion):
    """An installed ultrasonic set-up, what was noticed, and what was read there."""

    setup: InstalledSetup
    """The set-up."""
    symptoms: Sequence[Symptom] = field(default=(), metadata=about(most=8))
    """What was noticed."""
    readings: Sequence[MachineReading] = field(default=(), metadata=about(most=MAX_READINGS))
    """Readings at the set-up; dB and per cent count from the open path as it was taught."""


@dataclass(frozen=True, kw_only=True)
class MarginMap:
    """The least margin, and the medians of one sheet and two, at every gap (rows) and tilt (columns)."""

    gap_mm: Sequence[float] = field(metadata=about(unit="mm", decimals=1))
    """Gaps of the rows."""
    tilt_deg: Sequence[float] = field(metadata=about(unit="deg", decimals=1))
    """Tilts of the columns."""
    margin: Sequence[Sequence[float]] = field(metadata=SIGNAL)
    """With the band of the profile; without one, with the best of each place."""
    single: Sequence[Sequence[float]] = field(metadata=SIGNAL)
    """One sheet."""
    double: Sequence[Sequence[float]] = field(metadata=SIGNAL)
    """Two sheets."""


@dataclass(frozen=True, kw_only=True)
class AtPosition:
    """One sheet at one place between the faces, standing waves as they are there."""

    position_mm: float = field(metadata=about(unit="mm", decimals=3))
    """From the middle of the gap, towards the receiver."""
    single: float = field(metadata=SIGNAL)
    """Median of one sheet."""


@dataclass(frozen=True, kw_only=True)
class AtGrammage:
    """A sheet of another grammage, with the band as it is."""

    grammage_gsm: float = field(metadata=about(unit="g/m2", decimals=2))
    """Mass per area."""
    no_sheet: Percentiles
    """No sheet."""
    single: Percentiles
    """One sheet."""
    double: Percentiles
    """Two sheets."""
    margin: Margin
    """What is left."""


@dataclass(frozen=True, kw_only=True)
class Versions:
    """What a prediction and a diagnosis tell beside their own."""

    reference: str | None
    """The question's reference."""
    model_version: str
    """Version of the physics, the library and the decision."""
    catalogue_version: str
    """Version of the catalogue."""
    assumptions: Sequence[Assumption]
    """What was taken where the question does not say."""
    cautions: Sequence[Note]
    """What to be careful about."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Prediction(Shown, Versions):
    """Levels, margins and misreads of a set-up, and what the grid asked for."""

    predicted: Recommendation
    """The set-up as a recommendation tells one."""
    gap_tilt: MarginMap | None
    """Margins over gap and tilt, where the grid asks for them."""
    positions: Sequence[AtPosition]
    """Levels over the sheet's position."""
    grammages: Sequence[AtGrammage]
    """Levels over the grammage."""


@dataclass(frozen=True, kw_only=True)
class FittedInterval:
    """A value and the interval about it that holds 90 %."""

    low: float = field(metadata=_FIGURE)
    """Lower end."""
    nominal: float = field(metadata=_FIGURE)
    """Best value."""
    high: float = field(metadata=_FIGURE)
    """Upper end."""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One parameter of the sample before and after the readings."""

    name: str
    """grammage_gsm, stiffness_factor (of all moduli), loss_factor, trapped_air_um (median) or trapped_air_width
    (standard deviation of its logarithm)."""
    library: FittedInterval
    """As the library has it."""
    fitted: FittedInterval
    """As the readings have it."""
    sigma_share: float = field(metadata=about(decimals=3))
    """What is left of the library's uncertainty (of the logarithm), 1 is all of it."""
    informative: bool
    """Whether the readings say something of it."""


@dataclass(frozen=True, kw_only=True)
class Residual:
    """One reading against the fitted sheet."""

    index: int
    """Position of the reading, from 0."""
    state: str
    """What was in the beam."""
    detector_class: str
    """Class."""
    gap_mm: float = field(metadata=about(unit="mm", decimals=1))
    """Gap."""
    tilt_deg: float = field(metadata=about(unit="deg", decimals=1))
    """Tilt."""
    measured_db: float = field(metadata=about(unit="dB", decimals=2))
    """Attenuation as measured."""
    fitted_db: float = field(metadata=about(unit="dB", decimals=2))
    """Attenuation of the fitted sheet."""
    residual_db: float = field(metadata=about(unit="dB", decimals=2))
    """Measured less fitted."""
    sigma_db: float = field(metadata=about(unit="dB", decimals=2))
    """Standard deviation expected of that, what the model leaves open at its place included."""
    outlier: bool
    """Whether it lies so far off that it counts for little."""


@dataclass(frozen=True, kw_only=True)
class FittedSample:
    """What the readings say of the sample."""

    sheet: Sheet
    """The fitted sheet, in the form that every call takes."""
    library_sheet: SheetSummary
    """The sheet as the library has it."""
    estimates: Sequence[Estimate]
    """Every parameter."""
    covariance: Sequence[Sequence[float]] = field(metadata=_FIGURE)
    """Covariance of the logarithms of the parameters, in the order of `estimates`."""
    residuals: Sequence[Residual]
    """Every reading of a sheet."""
    p_value: float = field(metadata=about(decimals=4))
    """Chance that readings of such a sheet lie as far from the model as these."""
    notes: Sequence[Note]
    """What the readings cannot tell, and where the model does not explain them."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Fit(Shown):
    """A fitted sample, and the recommendation for it beside the library's."""

    reference: str | None
    """The question's reference."""
    fit: FittedSample
    """The fit."""
    changed: Sequence[Note]
    """What it changes in the first recommendation."""
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
    """Events per million that go wrong, in a single reading."""

    single_as_double: float = field(metadata=PPM)
    """One sheet read as two."""
    double_as_single: float = field(metadata=PPM)
    """Two sheets read as one."""
    no_sheet_as_single: float = field(metadata=PPM)
    """No sheet read as one."""
    no_sheet_as_double: float = field(metadata=PPM)
    """No sheet read as two."""


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause of trouble, the test that tells it from the next, and its remedy."""

    rank: int
    """From 1."""
    cause: Note
    """What it is."""
    probability: float = field(metadata=about(decimals=4))
    """How far it is believed, 0 to 1."""
    no_sheet_db: float = field(metadata=DB)
    """Attenuation of no sheet in its likeliest case."""
    single_db: float = field(metadata=DB)
    """Of one sheet."""
    double_db: float = field(metadata=DB)
    """Of two sheets."""
    rates_ppm: Rates
    """What goes wrong in that case."""
    against: str | None
    """Code of the cause from which the test tells it."""
    test: Note | None
    """The test that tells it from the next; null where none does."""
    deviations: float | None = field(metadata=about(decimals=1))
    """Difference that the test shows, in standard deviations."""
    remedy: Note
    """What helps."""
    remedied_ppm: Rates
    """What goes wrong once it has helped."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Diagnosis(Shown, Versions):
    """Causes, likeliest first, each with the test that tells it from the next and with its remedy."""

    computed: Recommendation
    """The set-up as it should be."""
    causes: Sequence[Cause]
    """Causes."""

    @property
    def likeliest(self) -> Cause | None:
        """The cause ranked first."""
        return self.causes[0] if self.causes else None
