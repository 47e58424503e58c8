"""The names a program may rely on. Removing or renaming one breaks programs: this list only grows."""

from __future__ import annotations

import ast
import subprocess
import sys
from dataclasses import is_dataclass
from importlib import metadata
from pathlib import Path

import pytest
import sheetmargin

NAMES = [
    "AsyncClient",
    "Client",
    "Summary",
    "Job",
    "Sheet",
    "Layer",
    "Wall",
    "Corrugated",
    "Gauge",
    "Double",
    "TrappedAir",
    "Trial",
    "Custom",
    "Line",
    "Environment",
    "Controller",
    "Targets",
    "Require",
    "Prefer",
    "Surface",
    "Demands",
    "ComparisonQuestion",
    "Comparison",
    "ComparedStep",
    "Answer",
    "Band",
    "SheetSummary",
    "Recommendation",
    "Changeovers",
    "Setup",
    "ClassSummary",
    "Geometry",
    "Window",
    "Profile",
    "Alignment",
    "Mounting",
    "Point",
    "Timing",
    "Order",
    "OrderLine",
    "SheetResult",
    "Signal",
    "Percentiles",
    "Margin",
    "Misreads",
    "Misread",
    "NotServed",
    "Serves",
    "Alternative",
    "RuledOut",
    "Note",
    "SheetmarginError",
    "Fault",
    "ExtraNotInstalled",
    "IncompleteAnswer",
    "UnusableKeyFile",
    "Outcome",
    "Filled",
    "InvalidJob",
    "NotAuthorised",
    "TooManyRequests",
    "ServiceUnavailable",
    "ConnectionFailed",
    "ServiceNotInstalled",
    "UnexpectedAnswer",
    "Catalogue",
    "Stock",
    "Version",
    "DetectorClass",
    "Housing",
    "Material",
    "Interval",
    "MaterialTrappedAir",
    "Porous",
    "Assumption",
    "Box",
    "Bracket",
    "Distances",
    "Footprint",
    "Neighbours",
    "Reason",
    "Room",
    "BenchReading",
    "DiagnosisQuestion",
    "FitQuestion",
    "Grid",
    "InstalledBand",
    "InstalledProfile",
    "InstalledSetup",
    "MachineReading",
    "PredictionQuestion",
    "AtGrammage",
    "AtPosition",
    "Cause",
    "Diagnosis",
    "Estimate",
    "Fit",
    "FittedInterval",
    "FittedSample",
    "MarginMap",
    "Prediction",
    "Rates",
    "Residual",
    "PlotsNotInstalled",
    "FindOut",
    "Finding",
]


def test_public_names() -> None:
    assert sorted(sheetmargin.__all__) == sorted(NAMES)
    assert all(hasattr(sheetmargin, name) for name in NAMES)


def test_type_checkers_see_the_same_names() -> None:
    stub = ast.parse(Path(sheetmargin.__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
    shown: dict[str, str] = {}
    for step in stub.body:
        if isinstance(step, ast.ImportFrom):
            shown |= {name.asname or "": step.module or "" for name in step.names}
    assert shown == {name: f"sheetmargin.{module}" for name, module in sheetmargin._MODULES.items()}


def test_the_version_is_that_of_the_package() -> None:
    assert sheetmargin.__version__ == metadata.version("sheetmargin")


def test_data_is_frozen_and_keyword_only() -> None:
    kinds = [kind for kind in (getattr(sheetmargin, name) for name in NAMES) if is_dataclass(kind)]
    assert len(kinds) > 30
    for kind in kinds:
        parameters = kind.__dataclass_params__  # type: ignore[union-attr]
        assert parameters.frozen, kind
        assert all(field.kw_only for field in kind.__dataclass_fields__.values()), kind


def test_every_error_has_one_root() -> None:
    errors = [
        kind for name in NAMES if isinstance(kind := getattr(sheetmargin, name), type) and issubclass(kind, Exception)
    ]
    assert len(errors) == 12
    assert all(issubclass(error, sheetmargin.SheetmarginError) for error in errors)


def test_import_loads_neither_requests_nor_the_service() -> None:
    """What keeps the import fast, whatever the machine: requests alone costs several times the rest."""
    others = "{'requests', 'urllib3', 'numpy', 'flask', 'marshmallow', 'sheetmargin.client', 'sheetmargin.errors'}"
    for module in (
        "sheetmargin",
        "sheetmargin.contract",
        "sheetmargin.contract.measure",
        "sheetmargin.contract.library",
    ):
        code = f"import sys, {module}; print(*sorted(set(sys.modules) & {others}))"
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        assert done.stdout.strip() == ""


def test_each_name_is_where_it_is_said_to_be() -> None:
    for name in NAMES:
        assert getattr(sheetmargin, name).__name__ == name
    with pytest.raises(AttributeError, match="Nothing"):
        _ = sheetmargin.Nothing
