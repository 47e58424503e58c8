"""The order of recommendations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from sheetmargin.contract.answer import Changeovers, Verdict

from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.class_result import ROOMY_MM
from sheetmargin_service.selection.configured_pair import ConfiguredPair, Served
from sheetmargin_service.selection.targets import ORDER, SUITABLE, chance_band, joint_chance


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

    @property
    def served(self) -> int:
        return sum(len(configured_pair.served) for configured_pair in self.configured_pairs)

    @property
    def worst(self) -> float:
        return min(configured_pair.worst for configured_pair in self.configured_pairs)

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


Result = tuple[float, ...]
"""How good one sheet's result at a pair is; less is better."""
Key = tuple[int | Result | tuple[str, ...], ...]


def ranked(plans: Sequence[Plan]) -> list[Plan]:
    """Most sheets served; then the verdict; then the fewest change-overs, of class, of position, of profile; then the
    worst of the sheets' results (see `standing`).

    What a plan is compared by is its own, whatever the others are: one more class never lowers the best.
    """
    return sorted(plans, key=_key)


def _key(plan: Plan) -> Key:
    changes = plan.changeovers
    return (
        -plan.served,
        ORDER[plan.verdict],
        *(changes.detector_class, changes.geometry, changes.profile),
        max(standing(st, served) for st in plan.configured_pairs for served in st.served.values()),
        tuple(st.class_result.detector_class.id for st in plan.configured_pairs),
    )


def standing(configured_pair: ConfiguredPair, served: Served) -> Result:
    """The verdict; then, where it is not suitable, how likely it is to do, in bands; then no contact, room for the
    sheet, and nothing else that moves the signal; then the margin (see `reserve`), then the simpler set-up."""
    choice, judgement = configured_pair.choice, served.judgement
    return (
        ORDER[judgement.verdict],
        0.0 if judgement.verdict == "suitable" else chance_band(judgement.chance),
        not configured_pair.class_result.detector_class.contactless,
        choice.gap.nominal < ROOMY_MM,
        bool(configured_pair.class_result.principle.depends_on),
        -reserve(served),
        bool(choice.tilt and choice.tilt.nominal),
        choice.gap.min - choice.gap.max,
    )


def reserve(served: Served) -> float:
    """The least margin as a multiple of one sheet's own spread: those of several principles have no unit in common."""
    single = served.signal_table.single
    return round(served.worst / max(float(single.p99[0] - single.p1[0]), 1e-9), 2)
