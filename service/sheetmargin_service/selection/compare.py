"""Two detector classes or set-ups for one job, side by side, by the steps of the order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sheetmargin.contract.answer import ComparedStep, Comparison
from sheetmargin.contract.job import Job
from sheetmargin.contract.notes import RuledOut

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.compose import recommendation
from sheetmargin_service.selection.notes import cautions
from sheetmargin_service.selection.order_explained import behind, deciding_step, shown_value
from sheetmargin_service.selection.ranking import Plan, ranked
from sheetmargin_service.selection.recommend import rank, summaries_of
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.version import model_version


def compare(between: Sequence[str], *, job: Job, catalogue: Catalogue, library: Library) -> Comparison:
    """Two classes for a job, each by itself at its best."""
    ranking = rank(replace(job, classes=tuple(between)), catalogue=catalogue, library=library, every=True)
    plans = [next((plan for plan in ranking.plans if _classes(plan) == {name}), None) for name in between]
    ruled_out = {name: ranking.ruled_out[name] for name in between if name in ranking.ruled_out}
    return side_by_side(plans, ruled_out, resolved_job=ranking.resolved_job, catalogue=catalogue)


def side_by_side(
    plans: Sequence[Plan | None], ruled_out: Mapping[str, Fact], *, resolved_job: ResolvedJob, catalogue: Catalogue
) -> Comparison:
    """Two plans, or one where the other cannot be, and why classes cannot serve."""
    order = ranked([plan for plan in plans if plan is not None])
    principle = {c.id: c.principle for c in catalogue.classes}
    recommendations = tuple(
        recommendation(plan, resolved_job.sheets, rank=place, order=_behind(order, place))
        for place, plan in enumerate(order, start=1)
    )
    return Comparison(
        reference=resolved_job.job.reference,
        model_version=model_version(),
        catalogue_version=catalogue.version,
        better=next(iter(_classes(order[0]))) if order else None,
        better_index=next((index for index, plan in enumerate(plans) if order and plan is order[0]), None),
        sheets=summaries_of(resolved_job),
        steps=_steps(*order) if len(order) == 2 else (),
        recommendations=recommendations,
        ruled_out=tuple(
            RuledOut(detector_class=name, principle=principle[name], code=fact.code, values=fact.values)
            for name, fact in ruled_out.items()
        ),
        cautions=cautions(recommendations),
    )


def _behind(order: Sequence[Plan], place: int) -> list[Fact]:
    return [behind(order[place - 1], order[0], above=1)] if place > 1 else []


def _classes(plan: Plan) -> set[str]:
    return {pair.class_result.detector_class.id for pair in plan.configured_pairs}


def _steps(first: Plan, second: Plan) -> tuple[ComparedStep, ...]:
    deciding = deciding_step(first.key, second.key)
    steps = [
        ComparedStep(
            step=step,
            first=shown_value(step, first),
            second=shown_value(step, second),
            decides=step == deciding,
        )
        for step in first.key
    ]
    return tuple(sorted(steps, key=lambda one: not one.decides))
