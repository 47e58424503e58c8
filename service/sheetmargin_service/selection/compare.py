"""Two detector classes for one job, side by side, by the steps of the order."""

from __future__ import annotations

from dataclasses import fields, replace

from sheetmargin.contract.answer import ComparedStep, Comparison
from sheetmargin.contract.job import ComparisonQuestion, Job
from sheetmargin.contract.notes import RuledOut

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.selection.compose import recommendation
from sheetmargin_service.selection.notes import cautions
from sheetmargin_service.selection.order_explained import behind, deciding_step, shown_value
from sheetmargin_service.selection.ranking import Plan, key_of
from sheetmargin_service.selection.recommend import rank, summaries_of
from sheetmargin_service.selection.version import model_version


def compare(question: ComparisonQuestion, *, job: Job, catalogue: Catalogue, library: Library) -> Comparison:
    """The question's two classes for its job, each by itself."""
    ranking = rank(replace(job, classes=tuple(question.between)), catalogue=catalogue, library=library, every=True)
    plans = [plan for plan in ranking.plans if len(_classes(plan)) == 1]
    sheets = ranking.resolved_job.sheets
    principle = {c.id: c.principle for c in catalogue.classes}
    recommendations = tuple(
        recommendation(plan, sheets, rank=place, order=[behind(plan, plans[0], above=1)] if place > 1 else ())
        for place, plan in enumerate(plans, start=1)
    )
    return Comparison(
        reference=job.reference,
        model_version=model_version(),
        catalogue_version=catalogue.version,
        better=next(iter(_classes(plans[0]))) if plans else None,
        sheets=summaries_of(ranking.resolved_job),
        steps=_steps(plans[0], plans[1]) if len(plans) > 1 else (),
        recommendations=recommendations,
        ruled_out=tuple(
            RuledOut(detector_class=name, principle=principle[name], code=fact.code, values=fact.values)
            for name in question.between
            if (fact := ranking.ruled_out.get(name))
        ),
        cautions=cautions(recommendations),
    )


def job_of(question: ComparisonQuestion) -> Job:
    """The job alone."""
    return Job(**{field.name: getattr(question, field.name) for field in fields(Job)})


def _classes(plan: Plan) -> set[str]:
    return {pair.class_result.detector_class.id for pair in plan.configured_pairs}


def _steps(first: Plan, second: Plan) -> tuple[ComparedStep, ...]:
    deciding = deciding_step(key_of(first), key_of(second))
    steps = [
        ComparedStep(
            step=step,
            first=shown_value(step, first),
            second=shown_value(step, second),
            decides=step == deciding,
        )
        for step in key_of(first)
    ]
    return tuple(sorted(steps, key=lambda one: not one.decides))
