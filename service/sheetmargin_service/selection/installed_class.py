"""A class at one gap and tilt, or at a grid of them, ready to be asked about a sheet."""

from __future__ import annotations

from dataclasses import replace
from itertools import chain

import numpy as np
from sheetmargin.contract.measure import InstalledSetup
from sheetmargin.contract.mounting import Window
from sheetmargin.contract.trials import Trial

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.principles import principle_of
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import ClassModel, Fact, Places
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.installation import check_gap, check_tilt
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.search import Choice


def class_model_at(detector_class: DetectorClass, conditions: Conditions, places: Places) -> ClassModel | Fact:
    """The class at every one of some places, and no others; or why it cannot stand there."""
    return principle_of(detector_class).class_model(detector_class, _standing(conditions), at=places)


def class_result_at(
    resolved_job: ResolvedJob, detector_class: DetectorClass, setup: InstalledSetup | Trial, *, field: str
) -> ClassResult:
    """The class where it is installed before the question's sheets; QuestionError where it cannot be."""
    gap, tilt = setup.gap_mm, setup.tilt_deg
    check_gap(detector_class, gap, field=f"{field}/gap_mm")
    check_tilt(detector_class, tilt, field=f"{field}/tilt_deg")
    class_model = class_model_at(detector_class, resolved_job.conditions, Places(gap_mm=(gap,), tilt_deg=(tilt,)))
    if isinstance(class_model, Fact):
        raise _impossible(
            class_model,
            f"{field}/gap_mm",
            Filled("{name} does not fit the line at a gap of {gap:g} mm.", name=detector_class.id, gap=gap),
        )
    refusal = _refusal(class_model, detector_class, resolved_job)
    if refusal is not None:
        raise _impossible(
            refusal, f"{field}/detector_class", Filled("{name} cannot sense this sheet.", name=detector_class.id)
        )
    return installed(resolved_job, class_model)


def _refusal(class_model: ClassModel, detector_class: DetectorClass, resolved_job: ResolvedJob) -> Fact | None:
    """Why the class cannot sense a sheet in its beam. One whose nominal level is hidden at this gap alone is not
    refused: others of its kind may not be, and the answer tells how likely that is."""
    for sheet in chain.from_iterable(map(resolved_job.in_beam, range(len(resolved_job.sheets)))):
        fact = class_model.refuses(sheet)
        if fact is not None and fact.code == "opaque":
            anywhere = principle_of(detector_class).class_model(detector_class, _standing(resolved_job.conditions))
            fact = fact if isinstance(anywhere, Fact) else anywhere.refuses(sheet)
        if fact is not None:
            return fact
    return None


def _standing(conditions: Conditions) -> Conditions:
    """What is installed stands there, wherever its body reaches."""
    return replace(conditions, body_through_frame=True, bed=True)


def installed(resolved_job: ResolvedJob, class_model: ClassModel) -> ClassResult:
    """A class at the settings of a class model, as it is installed: read in full, so that nothing need be searched."""
    allowed = np.ones(len(class_model.settings.gap_mm), dtype=bool)
    return ClassResult(
        resolved_job=resolved_job, class_model=class_model, allowed=allowed, signal_tables={}, refused={}
    )


def choice_of(setup: InstalledSetup | Trial, *, tilts: bool, setting: int = 0) -> Choice:
    """The place of an installation, one of the class model's settings, as it is and not to be moved."""
    gap, tilt = setup.gap_mm, setup.tilt_deg
    return Choice(
        setting=setting,
        gap=Window(nominal=gap, min=gap, max=gap),
        tilt=Window(nominal=tilt, min=tilt, max=tilt) if tilts else None,
        installed=True,
    )


def _impossible(fact: Fact, field: str, detail: str) -> QuestionError:
    return QuestionError(
        code=fact.code,
        field=field,
        detail=detail,
        expected="another detector class or position",
    )
