"""Several classes for a list that none serves as well by itself.

Each brings the pairs that it would have alone, so that what a set of classes can do depends on nothing but these
classes. Which of them, and which pair for which sheet, is a cover again: of the set-ups that are known in full.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import chain, combinations

import numpy as np

from sheetmargin_service.selection.configured_pair import ConfiguredPair, without
from sheetmargin_service.selection.list_cover.candidates import Candidates, profile_of
from sheetmargin_service.selection.list_cover.changeovers import cheapest_run
from sheetmargin_service.selection.list_cover.cover import covers
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.targets import CHANCE_BANDS, ORDER, chance_band

Assignment = Sequence[int | None]
"""Which of the pairs serves each sheet."""
LEVELS = ((0, 0), *((1, band) for band in range(len(CHANCE_BANDS) + 1)))
"""Verdicts with bands of the chance, the best first."""
ALL_SETS_OF = 6
"""Classes of which every set is looked at where a list keeps its sequence (a choice): 57 sets."""
MOST_SETS = 8
"""Sets of classes that are looked at (a choice): those with the fewest classes and set-ups come first."""


def together(alone: Sequence[Plan]) -> list[Plan]:
    """Plans of several classes that serve every sheet that any serves, where no class does so as surely by itself: for
    each verdict and band of the chance, the best first. `alone` are the plans of each class by itself."""
    if len(alone) < 2:
        return []
    configured_pairs = sorted(
        (configured_pair for plan in alone for configured_pair in plan.configured_pairs), key=_position
    )
    everyone = {i for configured_pair in configured_pairs for i in configured_pair.served}
    found: dict[tuple[int | None, ...], Plan] = {}
    for level in LEVELS:
        if any(plan.served == len(everyone) and _level(plan) <= level for plan in alone):
            break
        candidates = _candidates(configured_pairs, at_worst=level)
        if np.isfinite(candidates.margin).any(axis=0).sum() == len(everyone):
            options = _assignments(
                candidates, everyone, ordered=configured_pairs[0].class_result.resolved_job.job.keep_sequence
            )
            found |= {tuple(assignment): _plan(configured_pairs, assignment) for assignment in options}
    return list(found.values())


def _position(configured_pair: ConfiguredPair) -> tuple[str, tuple[float, float], str]:
    """Class, position and profile, in the order of candidates."""
    settings, at = configured_pair.class_result.class_model.settings, configured_pair.choice.setting
    position = float(settings.tilt_deg[at]), float(settings.gap_mm[at])
    return (
        configured_pair.class_result.detector_class.id,
        position,
        profile_of(configured_pair.low, configured_pair.high),
    )


def _level(plan: Plan) -> tuple[int, int]:
    key = plan.key
    return int(key["verdict"]), int(key["chance"])


def _candidates(configured_pairs: Sequence[ConfiguredPair], *, at_worst: tuple[int, int]) -> Candidates:
    """The pairs as ways to serve the sheets of which they do not fall short of a level. In the place of a margin
    stands how many worse results there are: results of several principles have no unit in common."""
    counts = [
        (row, i, _result(configured_pair, i))
        for row, configured_pair in enumerate(configured_pairs)
        for i, served in configured_pair.served.items()
        if (ORDER[served.judgement.verdict], chance_band(served.judgement.chance)) <= at_worst
    ]
    worse = {result: float(rank) for rank, result in enumerate(sorted({c[2] for c in counts}, reverse=True))}
    margin = np.full((len(configured_pairs), len(configured_pairs[0].class_result.resolved_job.sheets)), -np.inf)
    for row, i, result in counts:
        margin[row, i] = worse[result]
    classes, positions, profiles = zip(*map(_position, configured_pairs), strict=True)
    return Candidates(classes=classes, positions=positions, profiles=profiles, margin=margin)


def _result(configured_pair: ConfiguredPair, index: int) -> tuple[float | str, ...]:
    """How good one sheet's result at a pair is, whatever the class is called; less is better."""
    alone = replace(configured_pair, served={index: configured_pair.served[index]})
    key = Plan(configured_pairs=(alone,), left_out={}).key
    return tuple(value for step, value in key.items() if step != "id")


def _assignments(candidates: Candidates, everyone: Collection[int], *, ordered: bool) -> Iterator[Assignment]:
    """Which pair serves which sheet, the best first, as long as everyone is served."""
    if ordered:
        yield from _runs(candidates, everyone)
        return
    for cover in covers(candidates, limit=MOST_SETS):
        if len(cover.unserved) > candidates.margin.shape[1] - len(everyone):
            return
        yield cover.assignment


def _runs(candidates: Candidates, everyone: Collection[int]) -> Iterator[Assignment]:
    """The cheapest run of each set of classes that serves everyone: what a set can do is the same whatever others there
    are, so that one more class never lowers the best. Of many classes those of two, and that of all."""
    classes = sorted(set(candidates.classes))
    sizes = range(2, len(classes) + 1) if len(classes) <= ALL_SETS_OF else (2, len(classes))
    for some in chain.from_iterable(combinations(classes, size) for size in sizes):
        of_others = np.isin(candidates.classes, some, invert=True)
        run = cheapest_run(replace(candidates, margin=np.where(of_others[:, None], -np.inf, candidates.margin)))
        if run is not None and len(run.unserved) == candidates.margin.shape[1] - len(everyone):
            yield run.assignment


def _plan(configured_pairs: Sequence[ConfiguredPair], assignment: Assignment) -> Plan:
    kept = []
    for row, configured_pair in enumerate(configured_pairs):
        others = [i for i in configured_pair.served if assignment[i] != row]
        if len(others) < len(configured_pair.served):
            kept.append(without(configured_pair, others))
    return Plan(configured_pairs=tuple(kept), left_out={})
