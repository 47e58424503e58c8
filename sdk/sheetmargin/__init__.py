"""Client for the sheetmargin service: which double-sheet detector, how far apart, tilted how much, set to what.

from sheetmargin import Client, Sheet

print(Client.in_process().recommend(Sheet(material="copy-paper", grammage_gsm=80)))
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from sheetmargin.contract import shown

if TYPE_CHECKING:
    from sheetmargin.client import (
        Client as Client,
    )
    from sheetmargin.contract.answer import (
        Answer as Answer,
    )
    from sheetmargin.contract.answer import (
        Band as Band,
    )
    from sheetmargin.contract.answer import (
        Changeovers as Changeovers,
    )
    from sheetmargin.contract.answer import (
        ClassSummary as ClassSummary,
    )
    from sheetmargin.contract.answer import (
        ComparedStep as ComparedStep,
    )
    from sheetmargin.contract.answer import (
        Comparison as Comparison,
    )
    from sheetmargin.contract.answer import (
        Finding as Finding,
    )
    from sheetmargin.contract.answer import (
        FindOut as FindOut,
    )
    from sheetmargin.contract.answer import (
        Margin as Margin,
    )
    from sheetmargin.contract.answer import (
        Misread as Misread,
    )
    from sheetmargin.contract.answer import (
        Misreads as Misreads,
    )
    from sheetmargin.contract.answer import (
        Order as Order,
    )
    from sheetmargin.contract.answer import (
        Percentiles as Percentiles,
    )
    from sheetmargin.contract.answer import (
        Profile as Profile,
    )
    from sheetmargin.contract.answer import (
        Recommendation as Recommendation,
    )
    from sheetmargin.contract.answer import (
        Serves as Serves,
    )
    from sheetmargin.contract.answer import (
        Setup as Setup,
    )
    from sheetmargin.contract.answer import (
        SheetResult as SheetResult,
    )
    from sheetmargin.contract.answer import (
        SheetSummary as SheetSummary,
    )
    from sheetmargin.contract.answer import (
        Signal as Signal,
    )
    from sheetmargin.contract.job import (
        ComparisonQuestion as ComparisonQuestion,
    )
    from sheetmargin.contract.job import (
        Controller as Controller,
    )
    from sheetmargin.contract.job import (
        Corrugated as Corrugated,
    )
    from sheetmargin.contract.job import (
        Custom as Custom,
    )
    from sheetmargin.contract.job import (
        Double as Double,
    )
    from sheetmargin.contract.job import (
        Environment as Environment,
    )
    from sheetmargin.contract.job import (
        Gauge as Gauge,
    )
    from sheetmargin.contract.job import (
        Job as Job,
    )
    from sheetmargin.contract.job import (
        Layer as Layer,
    )
    from sheetmargin.contract.job import (
        Line as Line,
    )
    from sheetmargin.contract.job import (
        Prefer as Prefer,
    )
    from sheetmargin.contract.job import (
        Require as Require,
    )
    from sheetmargin.contract.job import (
        Sheet as Sheet,
    )
    from sheetmargin.contract.job import (
        Surface as Surface,
    )
    from sheetmargin.contract.job import (
        Targets as Targets,
    )
    from sheetmargin.contract.job import (
        TrappedAir as TrappedAir,
    )
    from sheetmargin.contract.job import (
        Wall as Wall,
    )
    from sheetmargin.contract.library import (
        Catalogue as Catalogue,
    )
    from sheetmargin.contract.library import (
        Demands as Demands,
    )
    from sheetmargin.contract.library import (
        DetectorClass as DetectorClass,
    )
    from sheetmargin.contract.library import (
        Filled as Filled,
    )
    from sheetmargin.contract.library import (
        Housing as Housing,
    )
    from sheetmargin.contract.library import (
        Interval as Interval,
    )
    from sheetmargin.contract.library import (
        Material as Material,
    )
    from sheetmargin.contract.library import (
        MaterialTrappedAir as MaterialTrappedAir,
    )
    from sheetmargin.contract.library import (
        OrderLine as OrderLine,
    )
    from sheetmargin.contract.library import (
        Porous as Porous,
    )
    from sheetmargin.contract.library import (
        Version as Version,
    )
    from sheetmargin.contract.measure import (
        AtGrammage as AtGrammage,
    )
    from sheetmargin.contract.measure import (
        AtPosition as AtPosition,
    )
    from sheetmargin.contract.measure import (
        BenchReading as BenchReading,
    )
    from sheetmargin.contract.measure import (
        Cause as Cause,
    )
    from sheetmargin.contract.measure import (
        Diagnosis as Diagnosis,
    )
    from sheetmargin.contract.measure import (
        DiagnosisQuestion as DiagnosisQuestion,
    )
    from sheetmargin.contract.measure import (
        Estimate as Estimate,
    )
    from sheetmargin.contract.measure import (
        Fit as Fit,
    )
    from sheetmargin.contract.measure import (
        FitQuestion as FitQuestion,
    )
    from sheetmargin.contract.measure import (
        FittedInterval as FittedInterval,
    )
    from sheetmargin.contract.measure import (
        FittedSample as FittedSample,
    )
    from sheetmargin.contract.measure import (
        Grid as Grid,
    )
    from sheetmargin.contract.measure import (
        InstalledBand as InstalledBand,
    )
    from sheetmargin.contract.measure import (
        InstalledProfile as InstalledProfile,
    )
    from sheetmargin.contract.measure import (
        InstalledSetup as InstalledSetup,
    )
    from sheetmargin.contract.measure import (
        MachineReading as MachineReading,
    )
    from sheetmargin.contract.measure import (
        MarginMap as MarginMap,
    )
    from sheetmargin.contract.measure import (
        Prediction as Prediction,
    )
    from sheetmargin.contract.measure import (
        PredictionQuestion as PredictionQuestion,
    )
    from sheetmargin.contract.measure import (
        Rates as Rates,
    )
    from sheetmargin.contract.measure import (
        Residual as Residual,
    )
    from sheetmargin.contract.mounting import (
        Alignment as Alignment,
    )
    from sheetmargin.contract.mounting import (
        Box as Box,
    )
    from sheetmargin.contract.mounting import (
        Bracket as Bracket,
    )
    from sheetmargin.contract.mounting import (
        Distances as Distances,
    )
    from sheetmargin.contract.mounting import (
        Footprint as Footprint,
    )
    from sheetmargin.contract.mounting import (
        Geometry as Geometry,
    )
    from sheetmargin.contract.mounting import (
        Mounting as Mounting,
    )
    from sheetmargin.contract.mounting import (
        Neighbours as Neighbours,
    )
    from sheetmargin.contract.mounting import (
        Point as Point,
    )
    from sheetmargin.contract.mounting import (
        Room as Room,
    )
    from sheetmargin.contract.mounting import (
        Timing as Timing,
    )
    from sheetmargin.contract.mounting import (
        Window as Window,
    )
    from sheetmargin.contract.notes import (
        Alternative as Alternative,
    )
    from sheetmargin.contract.notes import (
        Assumption as Assumption,
    )
    from sheetmargin.contract.notes import (
        Note as Note,
    )
    from sheetmargin.contract.notes import (
        NotServed as NotServed,
    )
    from sheetmargin.contract.notes import (
        Reason as Reason,
    )
    from sheetmargin.contract.notes import (
        RuledOut as RuledOut,
    )
    from sheetmargin.contract.problem import (
        Fault as Fault,
    )
    from sheetmargin.errors import (
        ConnectionFailed as ConnectionFailed,
    )
    from sheetmargin.errors import (
        ExtraNotInstalled as ExtraNotInstalled,
    )
    from sheetmargin.errors import (
        IncompleteAnswer as IncompleteAnswer,
    )
    from sheetmargin.errors import (
        InvalidJob as InvalidJob,
    )
    from sheetmargin.errors import (
        NotAuthorised as NotAuthorised,
    )
    from sheetmargin.errors import (
        PlotsNotInstalled as PlotsNotInstalled,
    )
    from sheetmargin.errors import (
        ServiceNotInstalled as ServiceNotInstalled,
    )
    from sheetmargin.errors import (
        ServiceUnavailable as ServiceUnavailable,
    )
    from sheetmargin.errors import (
        SheetmarginError as SheetmarginError,
    )
    from sheetmargin.errors import (
        TooManyRequests as TooManyRequests,
    )
    from sheetmargin.errors import (
        UnexpectedAnswer as UnexpectedAnswer,
    )
    from sheetmargin.errors import (
        UnusableKeyFile as UnusableKeyFile,
    )
    from sheetmargin.outcome import (
        Outcome as Outcome,
    )

_PLACES = {
    "client": "Client",
    "contract.answer": (
        "Answer Band Changeovers ClassSummary ComparedStep Comparison FindOut Finding Margin Misread Misreads Order "
        "Percentiles Profile Recommendation Serves Setup SheetResult SheetSummary Signal"
    ),
    "contract.job": (
        "ComparisonQuestion Controller Corrugated Custom Double Environment Gauge Job Layer Line Prefer Require Sheet "
        "Surface Targets TrappedAir Wall"
    ),
    "contract.library": (
        "Catalogue Demands DetectorClass Filled Housing Interval Material MaterialTrappedAir OrderLine Porous Version"
    ),
    "contract.measure": (
        "AtGrammage AtPosition BenchReading Cause Diagnosis DiagnosisQuestion Estimate Fit FitQuestion "
        "FittedInterval FittedSample Grid InstalledBand InstalledProfile InstalledSetup MachineReading "
        "MarginMap Prediction PredictionQuestion Rates Residual"
    ),
    "contract.mounting": (
        "Alignment Box Bracket Distances Footprint Geometry Mounting Neighbours Point Room Timing Window"
    ),
    "contract.notes": "Alternative Assumption NotServed Note Reason RuledOut",
    "contract.problem": "Fault",
    "errors": (
        "ConnectionFailed ExtraNotInstalled IncompleteAnswer InvalidJob NotAuthorised PlotsNotInstalled "
        "ServiceNotInstalled ServiceUnavailable SheetmarginError TooManyRequests UnexpectedAnswer "
        "UnusableKeyFile"
    ),
    "outcome": "Outcome",
}
"""Where each public name is; it is loaded when it is first used."""
_MODULES = {name: module for module, names in _PLACES.items() for name in names.split()}

__all__ = sorted(_MODULES)


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module 'sheetmargin' has no attribute {name!r}")
    return globals().setdefault(name, getattr(import_module(f"sheetmargin.{_MODULES[name]}"), name))


def __dir__() -> list[str]:
    return sorted({*globals(), *_MODULES})


def _as_text(answer: Any) -> str:
    from sheetmargin.report.measurement import written

    return written(answer)


def _as_html(answer: Any) -> str:
    from sheetmargin.report.notebook import written

    return written(answer)


shown.as_text.append(_as_text)
shown.as_html.append(_as_html)
