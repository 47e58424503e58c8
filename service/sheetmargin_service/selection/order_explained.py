"""Why one plan stands behind another: the first step of the order that differs, in its own numbers."""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin_service.principles.protocol import Fact, Scalar
from sheetmargin_service.selection.ranking import Key, Plan, effort_of

DEAR = 4
"""From this effort on, or where it touches the sheet, the first choice is shown beside a simpler one (a choice)."""
LIKELY = 0.80
"""Chance from which a simpler class is named (a choice, an edge of the chance bands)."""


def deciding_step(better: Key, worse: Key) -> str:
    """The first step in which two keys differ."""
    return next((step for step in better if better[step] != worse[step]), "id")


def behind(plan: Plan, better: Plan, *, above: int) -> Fact:
    """Why a plan stands behind a better one, which is number `above`."""
    step = deciding_step(better.key, plan.key)
    return Fact(code=f"behind-by-{step}", values={"above": above, **_values(step, plan, better)})


def shown_value(step: str, plan: Plan) -> Scalar:
    """What a plan has at a step of the order, as a person reads it."""
    match step:
        case "verdict":
            return plan.verdict
        case "chance":
            return min(one.judgement.chance for pair in plan.configured_pairs for one in pair.served.values())
        case "contact":
            return bool(plan.key[step])
        case "sensitivities":
            return ", ".join(plan.sensitivities) or None
        case "margin":
            return abs(float(plan.key[step]))
    return plan.key[step]


def simpler_choice(plans: Sequence[Plan]) -> Fact | None:
    """Where the first choice is dear or touches the sheet: the class of the least effort that is likely to do, if it
    takes less; None where there is none."""
    first = plans[0]
    if effort_of(first) < DEAR and not first.key["contact"]:
        return None
    likely = [
        plan for plan in plans if not plan.left_out and plan.chance >= LIKELY and effort_of(plan) < effort_of(first)
    ]
    if not likely:
        return None
    simplest = min(likely, key=lambda plan: (effort_of(plan), plans.index(plan)))
    return Fact(
        code="simpler-choice",
        values={
            "detector_class": ", ".join(
                dict.fromkeys(pair.class_result.detector_class.id for pair in simplest.configured_pairs)
            ),
            "rank": plans.index(simplest) + 1,
            "effort": effort_of(simplest),
            "chance_pct": round(100.0 * simplest.chance),
        },
    )


def _values(step: str, plan: Plan, better: Plan) -> dict[str, Scalar]:
    if step == "sensitivities":
        return {
            "own": len(plan.sensitivities),
            "other": len(better.sensitivities),
            "influences": shown_value(step, plan),
        }
    if step == "chance":
        return {"own_pct": _percent(plan), "other_pct": _percent(better)}
    return {"own": shown_value(step, plan), "other": shown_value(step, better)}


def _percent(plan: Plan) -> int:
    chance = shown_value("chance", plan)
    assert isinstance(chance, float)
    return round(100.0 * chance)
