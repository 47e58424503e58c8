"""Classes under a job's conditions, for tests of the selection."""

from __future__ import annotations

from typing import Any

from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.class_filter import admitted
from sheetmargin_service.selection.class_result import ClassResult, class_results_of
from sheetmargin_service.selection.defaults import conditions_of
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.targets import targets_of


def class_results(*sheets: SheetSpec, **job: Any) -> list[ClassResult]:
    """The classes that the job admits and that can stand there."""
    asked = Job(sheets=sheets, **job)
    conditions, _ = conditions_of(asked)
    targets, _ = targets_of(asked.targets)
    resolved = tuple(resolve_sheet(sheet, load_library()) for sheet in sheets)
    resolved_job = ResolvedJob(job=asked, sheets=resolved, conditions=conditions, targets=targets)
    return [
        p for p in class_results_of(resolved_job, admitted(asked, reference_catalogue())) if not isinstance(p, Fact)
    ]
