"""Two set-ups for one job, each as it is mounted and set, by the steps of the order."""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin.contract.answer import Comparison
from sheetmargin.contract.job import Job
from sheetmargin.contract.measure import InstalledSetup

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.measurement.predict import resolved_job_of
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.class_filter import outside_rating
from sheetmargin_service.selection.class_result import distributions_at
from sheetmargin_service.selection.compare import side_by_side
from sheetmargin_service.selection.configured_pair import build_configured_pair
from sheetmargin_service.selection.installation import band_of, class_of
from sheetmargin_service.selection.installed_class import choice_of, class_result_at
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.resolved_job import ResolvedJob

FIELD = "setups"


def compare_setups(setups: Sequence[InstalledSetup], *, job: Job, catalogue: Catalogue, library: Library) -> Comparison:
    """Two set-ups for all sheets of a job. QuestionError for a sheet or a set-up that cannot be."""
    resolved_job, _ = resolved_job_of(job, catalogue, library)
    plans: list[Plan | None] = []
    ruled_out: dict[str, Fact] = {}
    for index, setup in enumerate(setups):
        plan = _plan(setup, resolved_job, catalogue, field=f"{FIELD}/{index}")
        if isinstance(plan, Fact):
            ruled_out[setup.detector_class] = plan
        plans.append(plan if isinstance(plan, Plan) else None)
    return side_by_side(plans, ruled_out, resolved_job=resolved_job, catalogue=catalogue)


def _plan(setup: InstalledSetup, resolved_job: ResolvedJob, catalogue: Catalogue, *, field: str) -> Plan | Fact:
    """A set-up as it stands; or why it must not stand there, which a computation does not see."""
    detector_class = class_of(setup.detector_class, catalogue, field=f"{field}/detector_class")
    class_result = class_result_at(resolved_job, detector_class, setup, field=field)
    unrated = outside_rating(detector_class, resolved_job.job.environment, conditions=resolved_job.conditions)
    if unrated is not None:
        return unrated
    choice = choice_of(setup, tilts=class_result.class_model.settings.tilts)
    every = range(len(resolved_job.sheets))
    (distributions,) = distributions_at([(class_result, choice.setting, every)])
    pair = build_configured_pair(class_result, choice.setting, distributions, choice=choice, band=band_of(setup))
    if pair.mounting is not None and not pair.mounting.fits:
        return class_result.space.misfit(class_result.class_model.settings)
    return Plan(configured_pairs=(pair,), left_out={})
