"""Targets for misreads, and the verdict they lead to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from math import log10

from sheetmargin.contract.answer import Misread, Misreads, Verdict
from sheetmargin.contract.job import Targets
from sheetmargin.contract.notes import Assumption

DEFAULTS_PPM = {
    "double_as_single": 1000.0,
    "single_as_double": 100.0,
    "single_as_no_sheet": 100.0,
    "no_sheet_as_single": 1000.0,
}
"""Taken where a job has no target: one double or one missing sheet in a thousand passed, one false stop of either kind
in ten thousand sheets (a choice). A double read as no sheet stops the machine too: no target is taken for it."""
PAIRS = tuple(f.name for f in fields(Targets))
ORDER: dict[Verdict, int] = {"suitable": 0, "trial-needed": 1, "unsuitable": 2}
EASY = -2.0
"""Misreads a hundred times rarer than wanted are as good as any."""


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A verdict, the pair of states that decides it, and how its misreads compare with the target (log10, high end)."""

    verdict: Verdict
    pair: str
    misread: Misread
    target_ppm: float
    ratio: float

    @property
    def excess(self) -> float:
        """By what power of ten the high end is above the target; below 0 where that is met."""
        assert self.misread.high is not None
        return log10(self.misread.high / self.target_ppm)

    def at_most_trial(self) -> Judgement:
        """The same, never better than a trial."""
        return replace(self, verdict="trial-needed") if self.verdict == "suitable" else self


def targets_of(targets: Targets) -> tuple[dict[str, float], tuple[Assumption, ...]]:
    """The targets that count, and a note for each that was not given but taken."""
    given = {pair: value for pair in PAIRS if (value := getattr(targets, pair)) is not None}
    notes = tuple(
        Assumption(
            code="default-target",
            pointer=f"/targets/{pair}",
            value=value,
            values={"value": value},
            source="a choice of this service",
        )
        for pair, value in DEFAULTS_PPM.items()
        if pair not in given
    )
    return DEFAULTS_PPM | given, notes


def judge(
    misreads: Misreads,
    targets: Mapping[str, float],
    *,
    margin: Mapping[str, float],
    step: float,
    approximate: bool = False,
    settable: bool = True,
) -> Judgement:
    """suitable: every target is met over the whole interval; unsuitable: one is missed over the whole interval, or its
    states cross (see `_judge_one`). `margin` of each state with a band on a grid of `step`.

    A sheet that is known by an approximation alone, and a set-up that cannot be set as exactly as it must be or whose
    beam does not wholly meet the sheet, are never more than a trial.
    """
    judged = [
        _judge_one(pair, getattr(misreads, pair), target, room=margin[pair.split("_as_")[0]] + 0.5 * step)
        for pair, target in targets.items()
    ]
    worst = max(judged, key=lambda j: (ORDER[j.verdict], j.ratio, j.pair))
    return worst if settable and not approximate else worst.at_most_trial()


def _judge_one(pair: str, misread: Misread, target_ppm: float, *, room: float) -> Judgement:
    """One pair of states, by the room of the true one: its margin, and the half step that an edge may be off for being
    on a grid.

    What is not known of the model makes the interval, and where that holds the target, a trial can tell. But where
    there is no room, p1 or p99 of the true state lies beyond the edge, with all of that mixed in as far as it is
    believed: about one event in a hundred or more is expected to be misread. Where that misses the target as well, a
    trial that went well would show a lucky sample, not a set-up to recommend: the sheets that are delivered next are
    drawn from all of the belief. The bound is the percentile by which margins are told; nothing is chosen for it.
    """
    low, high, estimate = misread.low, misread.high, misread.estimate
    assert low is not None
    assert high is not None
    assert estimate is not None
    crossed = room <= 0.0 and estimate > target_ppm
    verdict: Verdict = (
        "suitable" if high <= target_ppm else "trial-needed" if low <= target_ppm and not crossed else "unsuitable"
    )
    ratio = max(EASY, round(2.0 * log10(high / target_ppm)) / 2.0)
    return Judgement(verdict=verdict, pair=pair, misread=misread, target_ppm=target_ppm, ratio=ratio)
