"""Answers of the bench, typed. Printing one gives the report of the command line; a notebook shows it with its plot."""

from __future__ import annotations

from dataclasses import dataclass, field

from sheetmargin.answer import Answer, Margin, Percentiles, Recommendation, SheetSummary
from sheetmargin.job import Sheet
from sheetmargin.notes import Assumption, Note


@dataclass(frozen=True, kw_only=True)
class MarginMap:
    """The least margin, and the medians of one sheet and two, at every gap (rows) and tilt (columns)."""

    gap_mm: tuple[float, ...] = ()
    tilt_deg: tuple[float, ...] = ()
    margin: tuple[tuple[float, ...], ...] = ()
    single: tuple[tuple[float, ...], ...] = ()
    double: tuple[tuple[float, ...], ...] = ()


@dataclass(frozen=True, kw_only=True)
class AtPosition:
    """One sheet at one place between the faces."""

    position_mm: float | None = None
    single: float | None = None


@dataclass(frozen=True, kw_only=True)
class AtGrammage:
    """A sheet of another grammage."""

    grammage_gsm: float | None = None
    no_sheet: Percentiles = field(default=Percentiles())
    single: Percentiles = field(default=Percentiles())
    double: Percentiles = field(default=Percentiles())
    margin: Margin = field(default=Margin())


@dataclass(frozen=True, kw_only=True, repr=False)
class Prediction:
    """What would be read: levels, margins and misreads of a set-up, and what the grid asked for."""

    reference: str | None = None
    model_version: str | None = None
    catalogue_version: str | None = None
    predicted: Recommendation = field(default=Recommendation())
    gap_tilt: MarginMap | None = None
    positions: tuple[AtPosition, ...] = ()
    grammages: tuple[AtGrammage, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    cautions: tuple[Note, ...] = ()

    def __repr__(self) -> str:
        from sheetmargin.bench_report import prediction_report

        return prediction_report(self)

    def _repr_html_(self) -> str:
        from sheetmargin.notebook import prediction_html

        return prediction_html(self)


@dataclass(frozen=True, kw_only=True)
class FittedInterval:
    """A value and the interval about it that holds 90 %."""

    low: float | None = None
    nominal: float | None = None
    high: float | None = None


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One parameter of the sample before and after the readings; `told`: whether they say something of it."""

    name: str | None = None
    library: FittedInterval = FittedInterval()
    fitted: FittedInterval = FittedInterval()
    sigma_share: float | None = None
    told: bool | None = None


@dataclass(frozen=True, kw_only=True)
class Residual:
    """One reading against the fitted sheet."""

    index: int | None = None
    state: str | None = None
    detector_class: str | None = None
    gap_mm: float | None = None
    tilt_deg: float | None = None
    measured_db: float | None = None
    fitted_db: float | None = None
    residual_db: float | None = None
    sigma_db: float | None = None
    wrong: bool | None = None


@dataclass(frozen=True, kw_only=True)
class FittedSample:
    """What the readings say of the sample. `sheet` can be asked for in every call."""

    sheet: Sheet = field(default=Sheet())
    library_sheet: SheetSummary = field(default=SheetSummary())
    estimates: tuple[Estimate, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()
    residuals: tuple[Residual, ...] = ()
    chance: float | None = None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, repr=False)
class Fit:
    """A fitted sample, and the answer for it beside the one for the library's sheet."""

    reference: str | None = None
    fit: FittedSample = FittedSample()
    changed: tuple[Note, ...] = ()
    library: Answer = field(default=Answer())
    fitted: Answer = field(default=Answer())

    @property
    def sheet(self) -> Sheet:
        """The fitted sheet, in the form that every call takes."""
        return self.fit.sheet

    def __repr__(self) -> str:
        from sheetmargin.bench_report import fit_report

        return fit_report(self)

    def _repr_html_(self) -> str:
        from sheetmargin.notebook import fit_html

        return fit_html(self)


@dataclass(frozen=True, kw_only=True)
class Rates:
    """Events per million that go wrong, in a single reading."""

    single_as_double: float | None = None
    double_as_single: float | None = None
    no_sheet_as_sheet: float | None = None


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause of trouble, the test that tells it from the next, and its remedy."""

    rank: int | None = None
    cause: Note = field(default=Note())
    probability: float | None = None
    no_sheet_db: float | None = None
    single_db: float | None = None
    double_db: float | None = None
    rates_ppm: Rates = Rates()
    against: str | None = None
    test: Note | None = None
    deviations: float | None = None
    remedy: Note = field(default=Note())
    remedied_ppm: Rates = Rates()


@dataclass(frozen=True, kw_only=True, repr=False)
class Diagnosis:
    """Causes, likeliest first."""

    reference: str | None = None
    model_version: str | None = None
    catalogue_version: str | None = None
    computed: Recommendation = field(default=Recommendation())
    causes: tuple[Cause, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    cautions: tuple[Note, ...] = ()

    @property
    def likeliest(self) -> Cause | None:
        """The cause ranked first."""
        return self.causes[0] if self.causes else None

    def __repr__(self) -> str:
        from sheetmargin.bench_report import diagnosis_report

        return diagnosis_report(self)

    def _repr_html_(self) -> str:
        from sheetmargin.notebook import diagnosis_html

        return diagnosis_html(self)
