"""Client for the sheetmargin service: which double-sheet detector, how far apart, tilted how much, set to what.

from sheetmargin import Client, Sheet

print(Client.in_process().recommend(Sheet(material="copy-paper", grammage_gsm=80)))
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

from sheetmargin.contract import shown

_PLACES = {
    "async_client": "AsyncClient",
    "client": "Client",
    "contract.answer": (
        "Answer Band Changeovers ClassSummary ComparedStep Comparison FindOut Finding Margin Misread Misreads Order "
        "Percentiles Profile Recommendation Serves Setup SheetResult SheetSummary Signal"
    ),
    "contract.job": (
        "Controller Corrugated Custom Double Environment Gauge Job Layer Line Prefer Require Sheet "
        "Surface Targets TrappedAir Wall"
    ),
    "contract.library": (
        "Catalogue Demands DetectorClass Filled Housing Interval Material MaterialTrappedAir OrderLine Porous Stock "
        "Version"
    ),
    "contract.measure": (
        "AtGrammage AtPosition BenchReading Cause ComparisonQuestion Diagnosis DiagnosisQuestion Estimate Fit "
        "FitQuestion FittedInterval FittedSample Grid InstalledProfile InstalledSetup MachineReading "
        "MarginMap Prediction PredictionQuestion Rates Residual"
    ),
    "contract.mounting": (
        "Alignment Box Bracket Distances Footprint Geometry Mounting Neighbours Point Room Timing Window"
    ),
    "contract.notes": "Alternative Assumption NotServed Note Reason RuledOut",
    "contract.problem": "Fault",
    "contract.summary": "Summary",
    "contract.trials": "InstalledBand Trial",
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
    if name == "__version__":
        metadata = import_module("importlib.metadata")  # costs more than all the rest of the import
        return globals().setdefault(name, metadata.version("sheetmargin"))
    if name not in _MODULES:
        raise AttributeError(f"module 'sheetmargin' has no attribute {name!r}")
    return globals().setdefault(name, getattr(import_module(f"sheetmargin.{_MODULES[name]}"), name))


def __dir__() -> list[str]:
    return sorted({*globals(), *_MODULES})


def _later(module: str, name: str) -> Callable[..., Any]:
    """A function of a module that is loaded when it is called."""
    return lambda *arguments: getattr(import_module(f"sheetmargin.{module}"), name)(*arguments)


shown.as_text.append(_later("report.render", "written"))
shown.as_sections.append(_later("report.render", "explained"))
shown.as_html.append(_later("report.notebook", "written"))
shown.make_frame.append(_later("report.quote", "frame_of"))
shown.write_json.append(_later("encode", "record_to_json"))
shown.read_json.append(_later("decode", "read_json"))
