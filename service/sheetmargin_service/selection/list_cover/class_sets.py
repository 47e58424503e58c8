"""Several classes for a list that none serves as well by itself.

Each brings the pairs that it would have alone, so that what a set of classes can do depends on nothing but these
classes. Which of them, and which pair for which sheet, is a cover again: of the set-ups that are known in full.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np
from sheetmargin.contract.answer import Verdict

from sheetmargin_service.selection.configured_pair import ConfiguredPair, without
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.changeovers import cheapest_run
from sheetmargin_service.selection.list_cover.cover import covers
from sheetmargin_service.selection.ranking import Plan, standing
from sheetmargin_service.selection.targets import ORDER

Assignment = Sequence[int | None]
"""Which of the pairs serves each sheet."""
VERDICTS: tuple[Verdict, ...] = ("suitable", "trial-needed")
MOST_SETS = 8
"""Sets of classes that are looked at (a choice): those with the fewest classes and set-ups come first."""


def together(alone: Sequence[Plan]) -> list[Plan]:
    """Plans of several classes that serve every sheet that any serves, where no class does so by itself: first those
    without a trial, where all sheets can be served so. `alone` are the plans of each class by itself."""
    if len(alone) < 2:
        return []
    configured_pairs = sorted(
        (configured_pair for plan in alone for configured_pair in plan.configured_pairs), key=_position
    )
    everyone = {i for configured_pair in configured_pairs for i in configured_pair.served}
    plans: list[Plan] = []
    for verdict in VERDICTS:
        if any(plan.served == len(everyone) and ORDER[plan.verdict] <= ORDER[verdict] for plan in alone):
            break
        candidates = _candidates(configured_pairs, at_worst=verdict)
        if np.isfinite(candidates.margin).any(axis=0).sum() == len(everyone):
            options = _assignments(
                candidates, everyone, ordered=configured_pairs[0].class_result.resolved_job.job.keep_sequence
            )
            plans += [_plan(configured_pairs, assignment) for assignment in options]
    return plans


def _position(configured_pair: ConfiguredPair) -> tuple[str, tuple[float, float], str]:
    """Class, position and profile, in the order of candidates."""
    settings, at = configured_pair.class_result.class_model.settings, configured_pair.choice.setting
    position = float(settings.tilt_deg[at]), float(settings.gap_mm[at])
    return (
        configured_pair.class_result.detector_class.id,
        position,
        f"{configured_pair.low:06d}-{configured_pair.high:06d}",
    )


def _candidates(configured_pairs: Sequence[ConfiguredPair], *, at_worst: Verdict) -> Candidates:
    """The pairs as ways to serve the sheets of which they do not fall short of a verdict. In the place of a margin
    stands how many worse results there are: results of several principles have no unit in common."""
    counts = [
        (row, i, standing(configured_pair, served))
        for row, configured_pair in enumerate(configured_pairs)
        for i, served in configured_pair.served.items()
        if ORDER[served.judgement.verdict] <= ORDER[at_worst]
    ]
    worse = {result: float(rank) for rank, result in enumerate(sorted({c[2] for c in counts}, reverse=True))}
    margin = np.full((len(configured_pairs), len(configured_pairs[0].class_result.resolved_job.sheets)), -np.inf)
    for row, i, result in counts:
        margin[row, i] = worse[result]
    classes, positions, profiles = zip(*map(_position, configured_pairs), strict=True)
    return Candidates(classes=classes, positions=positions, profiles=profiles, margin=margin)


def _assignments(candidates: Candidates, everyone: Collection[int], *, ordered: bool) -> Iterator[Assignment]:
    """Which pair serves which sheet, the best first, as long as everyone is served."""
    if ordered:
        run = cheapest_run(candidates)
        assert run is not None
        yield run.assignment
        return
    for cover in covers(candidates, limit=MOST_SETS):
        if len(cover.unserved) > candidates.margin.shape[1] - len(everyone):
            return
        yield cover.assignment


def _plan(configured_pairs: Sequence[ConfiguredPair], assignment: Assignment) -> Plan:
    kept = []
    for row, configured_pair in enumerate(configured_pairs):
        others = [i for i in configured_pair.served if assignment[i] != row]
        if len(others) < len(configured_pair.served):
            kept.append(without(configured_pair, others))
    return Plan(configured_pairs=tuple(kept), left_out={})
