"""A plan as the answer tells it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from sheetmargin.contract.answer import (
    Band,
    ClassSummary,
    Margin,
    Order,
    Percentiles,
    Profile,
    Recommendation,
    Serves,
    Setup,
    SheetResult,
    Signal,
)
from sheetmargin.contract.notes import NotServed, Reason

from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.mounting.timing import verdict_of_doubt
from sheetmargin_service.principles import frequency_khz
from sheetmargin_service.principles.draws import COUNT
from sheetmargin_service.principles.protocol import Fact, Scalar, Span
from sheetmargin_service.selection.bands import DECIMALS
from sheetmargin_service.selection.configured_pair import ConfiguredPair, Served
from sheetmargin_service.selection.order_items import orders
from sheetmargin_service.selection.plies import counting
from sheetmargin_service.selection.ranking import Plan, by_recipe, effort_of, ranking_margin
from sheetmargin_service.selection.targets import verdict_of
from sheetmargin_service.selection.why_not import timing_values

STATES = ("no_sheet", "single", "double")


def recommendation(plan: Plan, sheets: Sequence[Sheet], *, rank: int, order: Sequence[Fact] = ()) -> Recommendation:
    """One plan, ranked, with what its place in the order tells."""
    setup_of = {
        i: number for number, configured_pair in enumerate(plan.configured_pairs) for i in configured_pair.served
    }
    return Recommendation(
        rank=rank,
        verdict=plan.verdict,
        chance=plan.chance,
        limited_by=_limited_by(plan, sheets),
        effort=effort_of(plan),
        serves=Serves(count=plan.served, of=len(sheets)),
        not_served=tuple(
            NotServed(index=i, code=fact.code, values=fact.values) for i, fact in sorted(plan.left_out.items())
        ),
        changeovers=plan.changeovers,
        setups=tuple(
            _setup(configured_pair, index, order)
            for index, (configured_pair, order) in enumerate(
                zip(plan.configured_pairs, orders(plan.configured_pairs), strict=True)
            )
        ),
        sheets=tuple(_result(plan.configured_pairs[setup_of[i]], i, setup_of[i]) for i in sorted(setup_of)),
        reasons=tuple(map(_reason, (*order, *_reasons(plan, sheets)))),
    )


def _setup(configured_pair: ConfiguredPair, index: int, order: tuple[Order, ...]) -> Setup:
    c, principle = configured_pair.class_result.detector_class, configured_pair.class_result.principle
    return Setup(
        index=index,
        sheets=tuple(sorted(configured_pair.served)),
        detector_class=ClassSummary(
            id=c.id,
            principle=c.principle,
            frequency_khz=frequency_khz(c),
            illustrative=c.illustrative,
            name=principle.detector_kind(c.parameters),
        ),
        head=principle.head(c.parameters),
        geometry=configured_pair.geometry,
        profile=Profile(
            id=f"band-{configured_pair.low}-{configured_pair.high}",
            band=Band(
                low=configured_pair.low,
                high=configured_pair.high,
                unit=principle.unit,
                quantity=principle.quantity,
            ),
            hold_ms=configured_pair.timing.hold_ms,
        ),
        alignment=configured_pair.alignment,
        mounting=configured_pair.mounting,
        timing=configured_pair.timing,
        order_items=order,
    )


def _result(configured_pair: ConfiguredPair, index: int, setup: int) -> SheetResult:
    served = configured_pair.served[index]
    principle = configured_pair.class_result.principle
    signal_table = served.signal_table
    states = {state: _percentiles(getattr(signal_table, state)) for state in STATES}
    fewer = None if signal_table.fewer is None else _percentiles(signal_table.fewer)
    no_sheet, single, double = served.margin
    return SheetResult(
        index=index,
        setup=setup,
        signal=Signal(quantity=principle.quantity, unit=principle.unit, **states, one_ply_missing=fewer),
        margin=Margin(no_sheet=no_sheet, single=single, double=double),
        misread_ppm=served.judgement.misreads,
        chance=served.judgement.chance,
    )


def _percentiles(span: Span) -> Percentiles:
    p1, p50, p99 = (round(float(p[0]), DECIMALS) for p in (span.p1, span.p50, span.p99))
    return Percentiles(p1=p1, p50=p50, p99=p99)


def _reason(fact: Fact) -> Reason:
    return Reason(code=fact.code, values=fact.values, source=fact.source)


def _reasons(plan: Plan, sheets: Sequence[Sheet]) -> list[Fact]:
    """What limits the plan, and why: of the critical sheet, the one whose margin is the least of its own spread."""
    configured_pair, index = min(
        ((st, i) for st in plan.configured_pairs for i in st.served),
        key=lambda pair: (ranking_margin(pair[0].served[pair[1]]), pair[1]),
    )
    served, resolved_job = configured_pair.served[index], configured_pair.class_result.resolved_job
    bands = {(each.choice.setting, each.low, each.high) for each in plan.configured_pairs}
    recipes = len(bands) if len(bands) > 1 and by_recipe(plan.configured_pairs[0].class_result.resolved_job) else 0
    facts = [Fact(code="switched-by-recipe", values={"count": recipes})] if recipes else []
    facts += [_limiting(configured_pair, served, index), Fact(code="deciding-misread", values=plan.deciding)]
    facts += [fact for each in plan.configured_pairs for fact in _by_trials(each)]
    approximate = sorted(i for st in plan.configured_pairs for i in st.served if sheets[i].approximate)
    facts += [Fact(code="only-a-trial-can-tell", values={"sheet": i}) for i in approximate]
    facts += [fact for each in plan.configured_pairs for fact in _beside_the_median(each, plan)]
    for number, each in enumerate(plan.configured_pairs):
        for fact in filter(None, (each.narrow, each.over_edge, each.cut_out)):
            facts.append(Fact(code=fact.code, values={"setup": number, "number": number + 1, **fact.values}))
        if each.doubt is not None:
            values = timing_values(each.timing, resolved_job)
            facts.append(Fact(code=each.doubt, values={"setup": number, "number": number + 1, **values}))
    if served.distribution.moves:
        facts.append(_moves(served, index, configured_pair.class_result.principle.unit))
    if sheets[index].fewer_plies is not None and resolved_job.stream is None:
        facts.append(counting(configured_pair.class_result, index))
    told = configured_pair.class_result.class_model.facts(
        resolved_job.in_beam(index)[0], configured_pair.choice.setting
    )
    facts += [replace(fact, values={"sheet": index, **fact.values}) for fact in told]
    return facts


def _limited_by(plan: Plan, sheets: Sequence[Sheet]) -> str | None:
    """What makes the verdict worse than the chance alone would let it be, by its code; None where that decides."""
    if verdict_of(plan.chance) == plan.verdict:
        return None
    doubts = [each.doubt for each in plan.configured_pairs if verdict_of_doubt(each.doubt) == plan.verdict]
    facts = [fact for each in plan.configured_pairs for fact in (each.narrow, each.over_edge, each.cut_out)]
    tried = [one.experience.doubt for each in plan.configured_pairs for one in each.served.values() if one.experience]
    codes = [*doubts, *(fact.code for fact in facts if fact is not None), *filter(None, tried)]
    approximate = any(sheets[i].approximate for each in plan.configured_pairs for i in each.served)
    return next(iter(codes), "only-a-trial-can-tell" if approximate else None)


def _by_trials(configured_pair: ConfiguredPair) -> Iterator[Fact]:
    """Of each sheet that was tried: how much the trials weigh, and where they are not enough for a figure."""
    for i, served in sorted(configured_pair.served.items()):
        experience, judgement = served.experience, served.judgement
        if experience is None or judgement.chance_before is None:
            continue
        values: dict[str, Scalar] = {
            "sheet": i,
            "trials": len(experience.trials),
            "singles_fed": sum(trial.singles for trial in experience.trials),
            "doubles_fed": sum(trial.doubles for trial in experience.trials),
            "misreads": sum(trial.single_as_double + trial.double_as_single for trial in experience.trials),
            "before_chance_pct": 100.0 * judgement.chance_before,
            "chance_pct": 100.0 * judgement.chance,
            "kept_share_pct": 100.0 * experience.kept / COUNT,
        }
        yield Fact(code=experience.doubt or "trial-weighs", values=values)


def _beside_the_median(configured_pair: ConfiguredPair, plan: Plan) -> Iterator[Fact]:
    """Of each sheet: false stops in an hour, where that is known; and a target that the mean misses, though the chance
    is good: a few such jobs are bad, and most are not."""
    targets = configured_pair.class_result.resolved_job.targets
    for i, served in sorted(configured_pair.served.items()):
        hourly, misreads = served.timing.sheets_per_hour, served.judgement.misreads
        stops = (misreads.single_as_double, misreads.single_as_no_sheet)
        if hourly is not None and all(one.estimate is not None and one.high is not None for one in stops):
            estimate, high = (sum(getattr(one, end) for one in stops) for end in ("estimate", "high"))
            values: dict[str, Scalar] = {
                "sheet": i,
                "sheets_per_hour": round(hourly),
                "stops_per_hour": 1e-6 * hourly * estimate,
                "high_per_hour": 1e-6 * hourly * high,
            }
            yield Fact(code="false-stops-per-hour", values=values)
        for pair, target in targets.items():
            mean = getattr(misreads, pair).mean
            if plan.verdict == "suitable" and mean is not None and mean > target:
                values = {"sheet": i, "pair": pair, "mean_ppm": mean, "target_ppm": target}
                yield Fact(code="mean-misses-target", values=values)


def _limiting(configured_pair: ConfiguredPair, served: Served, index: int) -> Fact:
    margin, state = min(zip(served.margin, STATES, strict=True))
    unit = configured_pair.class_result.principle.unit
    return Fact(code="limiting-margin", values={"sheet": index, "state": state, "margin": margin, "unit": unit})


def _moves(served: Served, index: int, unit: str) -> Fact:
    """Which inputs move one sheet and two the most: what to measure first."""
    moves = served.distribution.moves
    single = max(sorted(moves), key=lambda name: moves[name][0])
    double = max(sorted(moves), key=lambda name: moves[name][1])
    return Fact(
        code="most-sensitive",
        values={
            "sheet": index,
            "single_input": single,
            "single_move": round(moves[single][0], DECIMALS),
            "double_input": double,
            "double_move": round(moves[double][1], DECIMALS),
            "unit": unit,
        },
    )
