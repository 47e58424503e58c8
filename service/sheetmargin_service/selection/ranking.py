"""The order of recommendations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, pairwise
from math import floor

from sheetmargin.contract.answer import Changeovers, Verdict

from sheetmargin_service.cached import cached_property
from sheetmargin_service.principles.protocol import Fact, Scalar
from sheetmargin_service.selection.configured_pair import ConfiguredPair, Served
from sheetmargin_service.selection.resolved_job import ResolvedJob
from sheetmargin_service.selection.sensitivities import families_of, sensitivities
from sheetmargin_service.selection.targets import ORDER, SUITABLE, chance_band, joint_chance

Key = dict[str, float | str]
"""What a plan is compared by, step by step; less is better."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to buy and how to set it: pairs that share out the sheets, and why the others are left out."""

    configured_pairs: tuple[ConfiguredPair, ...]
    left_out: dict[int, Fact]

    @property
    def verdict(self) -> Verdict:
        """That of the worst pair; a trial where all sheets together are not as sure as each of them."""
        worst = max((configured_pair.verdict for configured_pair in self.configured_pairs), key=lambda v: ORDER[v])
        return "trial-needed" if worst == "suitable" and self.chance < SUITABLE else worst

    @cached_property
    def chance(self) -> float:
        """The chance that the targets of all sheets that are served are met."""
        return joint_chance(
            served.judgement for configured_pair in self.configured_pairs for served in configured_pair.served.values()
        )

    @cached_property
    def key(self) -> Key:
        """The steps of the order, the first that differs decides: sheets that are not served; the verdict; the band of
        the chance of the worst sheet (`targets.CHANCE_BANDS`); positions, detectors, bands (bands that a recipe
        switches count as one, or changes of them where the list keeps its sequence); contact or marks that nobody
        accepted; the effort to buy and mount; influences that the job states or leaves open; the margin over the
        sheet's own spread, in half steps; the id. What a plan is compared by is its own, whatever the others are: one
        more class never lowers the best."""
        served = [one for pair in self.configured_pairs for one in pair.served.values()]
        positions, detectors, bands = _counts(self)
        return {
            "sheets-not-served": len(self.left_out),
            "verdict": ORDER[self.verdict],
            "chance": max(chance_band(one.judgement.chance) for one in served),
            "positions": positions,
            "detectors": detectors,
            "bands": bands,
            "contact": int(any(_touches(pair) for pair in self.configured_pairs)),
            "effort": effort_of(self),
            "sensitivities": len(self.sensitivities),
            "margin": -0.5 * floor(2.0 * min(ranking_margin(one) for one in served)),
            "id": ",".join(pair.class_result.detector_class.id for pair in self.configured_pairs),
        }

    @cached_property
    def sensitivities(self) -> tuple[str, ...]:
        """Influences on any of its classes."""
        each = (
            sensitivities(pair.class_result.detector_class, pair.class_result.resolved_job)
            for pair in self.configured_pairs
        )
        return tuple(dict.fromkeys(chain.from_iterable(each)))

    @property
    def served(self) -> int:
        return sum(len(configured_pair.served) for configured_pair in self.configured_pairs)

    @property
    def worst(self) -> float:
        return min(configured_pair.worst for configured_pair in self.configured_pairs)

    @property
    def deciding(self) -> dict[str, Scalar]:
        """The misread that comes nearest to its target, or goes furthest beyond it, with its sheet, as it is told."""
        judged = ((i, served.judgement) for pair in self.configured_pairs for i, served in pair.served.items())
        index, judgement = max(judged, key=lambda one: (one[1].ratio, -one[0]))
        return {
            "sheet": index,
            "pair": judgement.pair,
            "low_ppm": judgement.misread.low,
            "high_ppm": judgement.misread.high,
            "target_ppm": judgement.target_ppm,
        }

    @property
    def changeovers(self) -> Changeovers:
        """Changes while the list is run once: in its order, or each set-up's sheets together. A change of class brings
        its own position and profile, a change of position its own profile."""
        configured_pairs = list(self.configured_pairs)
        if configured_pairs[0].class_result.resolved_job.job.keep_sequence:
            serving = {i: configured_pair for configured_pair in configured_pairs for i in configured_pair.served}
            configured_pairs = [serving[i] for i in sorted(serving)]
        classes = positions = profiles = 0
        for before, after in pairwise(configured_pairs):
            if before.class_result is not after.class_result:
                classes += 1
            elif before.choice.setting != after.choice.setting:
                positions += 1
            elif (before.low, before.high) != (after.low, after.high):
                profiles += 1
        return Changeovers(detector_class=classes, geometry=positions, profile=profiles)


def ranked(plans: Sequence[Plan]) -> list[Plan]:
    """The order in which a good engineer would buy (see `Plan.key`)."""
    return sorted(plans, key=lambda plan: tuple(plan.key.values()))


def effort_of(plan: Plan) -> int:
    """The effort of the plan's classes, as the job's wishes move it."""
    prefer = plan.configured_pairs[0].class_result.resolved_job.job.prefer
    classes = {pair.class_result.detector_class.id: pair.class_result.detector_class for pair in plan.configured_pairs}
    return sum(
        max(1, c.demands.effort - (c.principle in prefer.principles))
        + (not c.contactless and prefer.contactless is True)
        for c in classes.values()
    )


def _counts(plan: Plan) -> tuple[int, int, int]:
    pairs, changes = plan.configured_pairs, plan.changeovers
    resolved_job = pairs[0].class_result.resolved_job
    detectors = {pair.class_result.detector_class.id for pair in pairs}
    positions = {position_of(pair) for pair in pairs}
    bands = {(*position_of(pair), pair.low, pair.high) for pair in pairs}
    if resolved_job.job.keep_sequence:
        return changes.detector_class + changes.geometry, changes.detector_class, changes.profile
    return len(positions), len(detectors), len(positions) if by_recipe(resolved_job) else len(bands)


def by_recipe(resolved_job: ResolvedJob) -> bool:
    """Whether a controller switches the bands, so that many cost no more than one: as said, or as is usual for metals
    (common practice, no source)."""
    said = resolved_job.job.controller.recipes
    return all("metal" in families_of(sheet) for sheet in resolved_job.sheets) if said is None else said


def position_of(pair: ConfiguredPair) -> tuple[str, int]:
    return pair.class_result.detector_class.id, pair.choice.setting


def _touches(pair: ConfiguredPair) -> bool:
    """Whether a class touches or marks sheets of which nobody says that they may be marked."""
    c, sheets = pair.class_result.detector_class, pair.class_result.resolved_job.job.sheets
    return (not c.contactless or c.demands.marks) and not all(sheet.surface.marks_allowed for sheet in sheets)


def ranking_margin(served: Served) -> float:
    """The least margin as a multiple of one sheet's own spread: those of several principles have no unit in common."""
    single = served.signal_table.single
    return round(served.worst / max(float(single.p99[0] - single.p1[0]), 1e-9), 2)
