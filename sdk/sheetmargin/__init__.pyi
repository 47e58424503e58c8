"""The public names, for type checkers; `__init__.py` loads each when it is first used."""

from sheetmargin.async_client import (
    AsyncClient as AsyncClient,
)
from sheetmargin.client import (
    Client as Client,
)
from sheetmargin.contract.answer import (
    Answer as Answer,
    Band as Band,
    Changeovers as Changeovers,
    ClassSummary as ClassSummary,
    ComparedStep as ComparedStep,
    Comparison as Comparison,
    FindOut as FindOut,
    Finding as Finding,
    Margin as Margin,
    Misread as Misread,
    Misreads as Misreads,
    Order as Order,
    Percentiles as Percentiles,
    Profile as Profile,
    Recommendation as Recommendation,
    Serves as Serves,
    Setup as Setup,
    SheetResult as SheetResult,
    SheetSummary as SheetSummary,
    Signal as Signal,
)
from sheetmargin.contract.job import (
    Controller as Controller,
    Corrugated as Corrugated,
    Custom as Custom,
    Double as Double,
    Environment as Environment,
    Gauge as Gauge,
    Job as Job,
    Layer as Layer,
    Line as Line,
    Prefer as Prefer,
    Require as Require,
    Sheet as Sheet,
    Surface as Surface,
    Targets as Targets,
    TrappedAir as TrappedAir,
    Wall as Wall,
)
from sheetmargin.contract.library import (
    Catalogue as Catalogue,
    Demands as Demands,
    DetectorClass as DetectorClass,
    Filled as Filled,
    Housing as Housing,
    Interval as Interval,
    Material as Material,
    MaterialTrappedAir as MaterialTrappedAir,
    OrderLine as OrderLine,
    Porous as Porous,
    Stock as Stock,
    Version as Version,
)
from sheetmargin.contract.measure import (
    AtGrammage as AtGrammage,
    AtPosition as AtPosition,
    BenchReading as BenchReading,
    Cause as Cause,
    ComparisonQuestion as ComparisonQuestion,
    Diagnosis as Diagnosis,
    DiagnosisQuestion as DiagnosisQuestion,
    Estimate as Estimate,
    Fit as Fit,
    FitQuestion as FitQuestion,
    FittedInterval as FittedInterval,
    FittedSample as FittedSample,
    Grid as Grid,
    InstalledProfile as InstalledProfile,
    InstalledSetup as InstalledSetup,
    MachineReading as MachineReading,
    MarginMap as MarginMap,
    Prediction as Prediction,
    PredictionQuestion as PredictionQuestion,
    Rates as Rates,
    Residual as Residual,
)
from sheetmargin.contract.mounting import (
    Alignment as Alignment,
    Box as Box,
    Bracket as Bracket,
    Distances as Distances,
    Footprint as Footprint,
    Geometry as Geometry,
    Mounting as Mounting,
    Neighbours as Neighbours,
    Point as Point,
    Room as Room,
    Timing as Timing,
    Window as Window,
)
from sheetmargin.contract.notes import (
    Alternative as Alternative,
    Assumption as Assumption,
    NotServed as NotServed,
    Note as Note,
    Reason as Reason,
    RuledOut as RuledOut,
)
from sheetmargin.contract.problem import (
    Fault as Fault,
)
from sheetmargin.contract.summary import (
    Summary as Summary,
)
from sheetmargin.contract.trials import (
    InstalledBand as InstalledBand,
    Trial as Trial,
)
from sheetmargin.errors import (
    ConnectionFailed as ConnectionFailed,
    ExtraNotInstalled as ExtraNotInstalled,
    IncompleteAnswer as IncompleteAnswer,
    InvalidJob as InvalidJob,
    NotAuthorised as NotAuthorised,
    PlotsNotInstalled as PlotsNotInstalled,
    ServiceNotInstalled as ServiceNotInstalled,
    ServiceUnavailable as ServiceUnavailable,
    SheetmarginError as SheetmarginError,
    TooManyRequests as TooManyRequests,
    UnexpectedAnswer as UnexpectedAnswer,
    UnusableKeyFile as UnusableKeyFile,
)
from sheetmargin.outcome import (
    Outcome as Outcome,
)

__version__: str
