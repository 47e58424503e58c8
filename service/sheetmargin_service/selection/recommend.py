"""From a job to a ranked recommendation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sheetmargin.contract.answer import Answer, SheetSummary, Verdict
from sheetmargin.contract.job import Job, Targets
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.notes import Alternative, Assumption, RuledOut

from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.mounting.condensation import moisture_cautions
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.class_filter import admitted, filtered, outside_rating
from sheetmargin_service.selection.class_result import SAME, ClassResult, class_results_of
from sheetmargin_service.selection.compose import recommendation
from sheetmargin_service.selection.configured_pair import ConfiguredPair
from sheetmargin_service.selection.defaults import conditions_of, timed_by
from sheetmargin_service.selection.find_out import find_out
from sheetmargin_service.selection.notes import assumed_cables, cautions, filled_parameters, trial_steps
from sheetmargin_service.selection.one_band import why_several_bands
from sheetmargin_service.selection.order_explained import behind, simpler_choice
from sheetmargin_service.selection.plans import each_alone, nearness, plan_of, plans_for_list
from sheetmargin_service.selection.ranking import Plan, ranked
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.targets import targets_of
from sheetmargin_service.selection.tried import with_trials
from sheetmargin_service.selection.version import model_version
from sheetmargin_service.selection.would_serve import would_serve

MOST_NEAR = 5
"""Classes that are looked at for a sheet where it is asked what change would help (a choice)."""


@dataclass(frozen=True, kw_only=True)
class Ranking:
    """All that can serve a job, best first, why the other classes cannot, and what was assumed. `nearest`: what comes
    nearest to serving a job of one sheet where nothing does."""

    resolved_job: ResolvedJob
    plans: Sequence[Plan]
    spare: Mapping[str, Fact]
    ruled_out: Mapping[str, Fact]
    nearest: tuple[ConfiguredPair, ...]
    assumptions: tuple[Assumption, ...]


@dataclass(frozen=True, kw_only=True)
class Looked:
    """The classes for a job, looked at to first order; why the others are ruled out; `spare`: that read as another."""

    resolved_job: ResolvedJob
    class_results: Sequence[ClassResult]
    spare: dict[str, Fact]
    ruled_out: dict[str, Fact]
    assumptions: tuple[Assumption, ...]


def _look(job: Job, *, catalogue: Catalogue, library: Library, every: bool) -> Looked:
    sheets = tuple(resolve_sheet(spec, library) for spec in job.sheets)
    conditions, default_notes = conditions_of(job)
    targets, target_notes = targets_of(job.targets)
    _, timing_notes = timed_by(job)
    resolved_job = with_trials(ResolvedJob(job=job, sheets=sheets, conditions=conditions, targets=targets), catalogue)
    class_results: list[ClassResult] = []
    ruled_out = filtered(job, catalogue, sheets)
    spare: dict[str, Fact] = {}
    classes = []
    for detector_class in admitted(job, catalogue, sheets):
        unrated = outside_rating(detector_class, job.environment, conditions=conditions)
        if unrated is None:
            classes.append(detector_class)
        else:
            ruled_out[detector_class.id] = unrated
    for detector_class, found in zip(classes, class_results_of(resolved_job, classes, every=every), strict=True):
        if isinstance(found, Fact):
            (spare if found.code == SAME else ruled_out)[detector_class.id] = found
        else:
            class_results.append(found)
    return Looked(
        resolved_job=resolved_job,
        class_results=class_results,
        spare=spare,
        ruled_out=ruled_out,
        assumptions=default_notes + timing_notes + target_notes + _sheet_assumptions(sheets),
    )


def rank(job: Job, *, catalogue: Catalogue, library: Library, every: bool = False) -> Ranking:
    """Everything that the catalogue has for a job, also classes that read alike where `every` is true. QuestionError
    for a sheet that makes no sense."""
    looked = _look(job, catalogue=catalogue, library=library, every=every)
    plans, failed, missed = _plans(looked.class_results)
    ruled_out = looked.ruled_out | failed
    return Ranking(
        resolved_job=looked.resolved_job,
        plans=ranked(plans),
        spare=looked.spare,
        ruled_out=ruled_out | _like_those_that_fail(looked.spare, ruled_out),
        nearest=() if not missed else (max(missed, key=lambda pair: pair.served[0].judgement.chance),),
        assumptions=looked.assumptions,
    )


def plan_for_all(job: Job, *, catalogue: Catalogue, library: Library) -> Plan | None:
    """The first plan for a job, of the classes that come nearest to serving one of its sheets; None where a sheet has
    no margin to first order before any class, or where that plan leaves one out.

    A class without a margin serves few sheets, mostly at a chance that nobody would change a line for, and takes as
    long to look at as one that serves.
    """
    looked = _look(job, catalogue=catalogue, library=library, every=False)
    chosen: set[int] = set()
    for index in range(len(looked.resolved_job.sheets)):
        near = [(nearness(one, index)[0], number) for number, one in enumerate(looked.class_results)]
        nearest = [number for margin, number in sorted(near, reverse=True)[:MOST_NEAR] if margin > 0.0]
        if not nearest:
            return None
        chosen.update(nearest)
    plans = ranked(_plans([looked.class_results[number] for number in sorted(chosen)])[0])
    return plans[0] if plans and not plans[0].left_out else None


def recommend(job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
    """Rank what can serve the job's sheets; say why the rest cannot. QuestionError for a sheet that makes no sense."""
    ranking = rank(job, catalogue=catalogue, library=library)
    resolved_job, plans = ranking.resolved_job, ranking.plans
    sheets, best = resolved_job.sheets, plans[: job.limit]
    alternatives = _not_listed(plans, limit=job.limit) | _like_those_that_serve(ranking)
    recommendations = tuple(
        recommendation(plan, sheets, rank=place, order=_order(plans, place)) for place, plan in enumerate(best, start=1)
    )
    principle = {c.id: c.principle for c in catalogue.classes}
    named = {st.class_result.detector_class.id for plan in best for st in plan.configured_pairs}
    return Answer(
        reference=job.reference,
        job=job,
        model_version=model_version(),
        catalogue_version=catalogue.version,
        verdict=_verdict(best),
        sheets=summaries_of(resolved_job),
        recommendations=recommendations,
        alternatives=tuple(
            Alternative(detector_class=name, principle=principle[name], code=fact.code, values=fact.values)
            for name, fact in sorted(alternatives.items())
            if name not in named
        ),
        ruled_out=tuple(
            RuledOut(detector_class=name, principle=principle[name], code=fact.code, values=fact.values)
            for name, fact in sorted(ranking.ruled_out.items())
            if name not in named | alternatives.keys()
        ),
        would_serve=()
        if plans and not plans[0].left_out
        else would_serve(
            job,
            serves=lambda changed: plan_for_all(changed, catalogue=catalogue, library=library),
            why_not=(*ranking.ruled_out.values(), *(fact for plan in plans for fact in plan.left_out.values())),
        ),
        trial=trial_steps(recommendations, sheets, Targets(**resolved_job.targets), plan=next(iter(plans), None)),
        assumptions=ranking.assumptions + filled_parameters(best) + assumed_cables(best),
        find_out=find_out(plans[0].configured_pairs if plans else ranking.nearest),
        cautions=cautions(recommendations) + moisture_cautions(job.environment, resolved_job.conditions),
    )


def _like_those_that_fail(spare: Mapping[str, Fact], ruled_out: Mapping[str, Fact]) -> dict[str, Fact]:
    """Why classes that read as another does cannot serve where that one cannot."""
    others = {name: str(fact.values["other"]) for name, fact in spare.items()}
    return {name: ruled_out[other] for name, other in others.items() if other in ruled_out}


def _plans(class_results: Sequence[ClassResult]) -> tuple[list[Plan], dict[str, Fact], list[ConfiguredPair]]:
    """Plans for the job, why classes that serve no sheet do not, and for one sheet how these would stand."""
    if not class_results:
        return [], {}, []
    if len(class_results[0].resolved_job.sheets) > 1:
        return *plans_for_list(class_results), []
    plans: list[Plan] = []
    failed: dict[str, Fact] = {}
    missed: list[ConfiguredPair] = []
    found = each_alone([(class_result, 0) for class_result in class_results])
    for class_result, one in zip(class_results, found, strict=True):
        plan = one if isinstance(one, Fact) else plan_of(one)
        if isinstance(plan, Plan):
            plans.append(plan)
            continue
        failed[class_result.detector_class.id] = plan
        if isinstance(one, ConfiguredPair):
            missed.append(one)
    return plans, failed, missed


def _verdict(best: Sequence[Plan]) -> Verdict:
    """That of the worst sheet of the best plan: one that it does not serve is not served by any other either."""
    return "unsuitable" if not best or best[0].left_out else best[0].verdict


def _order(plans: Sequence[Plan], rank: int) -> list[Fact]:
    """Why a plan is not ranked higher; of the first, what would be simpler, and why it takes several bands."""
    if rank > 1:
        return [behind(plans[rank - 1], plans[rank - 2], above=rank - 1)]
    return [fact for fact in (simpler_choice(plans), why_several_bands(plans)) if fact is not None]


def _like_those_that_serve(ranking: Ranking) -> dict[str, Fact]:
    """Classes that read as one that can serve does."""
    serve = {pair.class_result.detector_class.id for plan in ranking.plans for pair in plan.configured_pairs}
    return {name: fact for name, fact in ranking.spare.items() if fact.values["other"] in serve}


def _not_listed(plans: Sequence[Plan], *, limit: int) -> dict[str, Fact]:
    """Why classes of plans that are not listed are not: by the best that each class has a part in."""
    found: dict[str, Fact] = {}
    for plan in plans[limit:]:
        for configured_pair in plan.configured_pairs:
            if plan.served < plans[0].served:
                fact = Fact(code="not-needed", values={"sheets": plan.served, "of": plan.served + len(plan.left_out)})
            else:
                fact = behind(plan, plans[0], above=1)
            found.setdefault(configured_pair.class_result.detector_class.id, fact)
    return found


def summaries_of(resolved_job: ResolvedJob) -> tuple[SheetSummary, ...]:
    """The sheets of a job as they were understood."""
    pairs = zip(resolved_job.sheets, resolved_job.job.sheets, strict=True)
    return tuple(summary_of(index, sheet, asked=asked) for index, (sheet, asked) in enumerate(pairs))


def summary_of(index: int, sheet: Sheet, *, asked: SheetSpec) -> SheetSummary:
    """A sheet as it was understood; a text names a custom material by the one that it is like."""
    return SheetSummary(
        index=index,
        label=sheet.label,
        material=sheet.material_id,
        grammage_gsm=sheet.grammage_gsm,
        thickness_um=sheet.thickness_um,
        density_kg_m3=sheet.density_kg_m3,
        made_of=(asked.custom and asked.custom.like) or "",
    )


def _sheet_assumptions(sheets: Sequence[Sheet]) -> tuple[Assumption, ...]:
    return tuple(
        Assumption(
            code=a.code,
            pointer=f"/sheets/{index}/{a.field}".rstrip("/"),
            value=a.value,
            values=a.values,
            source=a.source or None,
        )
        for index, sheet in enumerate(sheets)
        for a in sheet.assumptions
    )
