"""Targets for misreads, and the verdict they lead to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import reduce
from math import inf, log10

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Misread, Misreads, Verdict
from sheetmargin.contract.job import Targets
from sheetmargin.contract.notes import Assumption

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import Z95
from sheetmargin_service.principles.draws import (
    COUNT,
    LIKE,
    UNKNOWNS,
    chance_of,
    conditional_chances,
    drawn,
    over_draws,
    passing,
    weighted_quantiles,
)
from sheetmargin_service.selection.misreads import FLOOR_PPM, Indices, Rates, misread_of, misreads_of

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
ROUNDED = 0.01
"""Step in which chances are told."""
SUITABLE, UNSUITABLE = 0.95, 0.05
"""Chances that all targets are met, from which a set-up is suitable, and below which it is not to be tried."""
CHANCE_BANDS = (0.95, 0.80, 0.50, 0.20, 0.05)
"""Edges between chances that count as different (a choice, stated): what is nearer than that is no reason to buy."""
TURNED, LEAST_TO_TURN = 0.50, 0.02
"""A chance that one answer must reach for a trial where it is below `UNSUITABLE` as it is; from less than the second no
answer within 5 to 95 % leads there."""
AS_SET = ("gap", "tilt", "bypass")
"""What is drawn that no input tells."""
EVERY = slice(None)
"""Every draw, each once."""
RAREST = 1e-15
"""Rates below this are not told apart."""
_ROUNDING = 1e-5
"""By how much a power of ten may be rounded up as it is told."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Judgement:
    """A verdict, and the chance that it rests on: that every target is met, over what is not known of the job.

    `excess` (J or 1, drifts): by what power of ten the worst pair of states is above its target in each draw.
    `chance_before`: without the trials that it takes into account; None where there are none.
    """

    verdict: Verdict
    chance: float
    rates: Rates
    targets: Mapping[str, float]
    excess: NDArray[np.float64]
    chance_before: float | None = None

    @cached_property
    def misreads(self) -> Misreads:
        """The rates as they are told."""
        return misreads_of(self.rates)

    @cached_property
    def _nearest(self) -> tuple[float, str]:
        """The pair of states that comes nearest to missing its target, and how its misreads compare with that (log10,
        high end). None is misread more often than in the worst draw, so that most need not be looked at."""
        most = {pair: max(1e6 * float(self.rates[pair].max()), FLOOR_PPM) / ppm for pair, ppm in self.targets.items()}
        found = -inf, ""
        for pair in sorted(most, key=lambda pair: -most[pair]):
            if log10(most[pair]) < found[0] - _ROUNDING:
                break
            found = max(found, (_ratio(misread_of(self.rates[pair]), self.targets[pair]), pair))
        return found

    @property
    def pair(self) -> str:
        """The pair of states that comes nearest to missing its target."""
        return self._nearest[1]

    @property
    def misread(self) -> Misread:
        """How often it is misread."""
        return misread_of(self.rates[self.pair])

    @property
    def target_ppm(self) -> float:
        """Its target."""
        return self.targets[self.pair]

    @property
    def ratio(self) -> float:
        """How the misreads of that pair compare with its target (log10, high end), in half steps."""
        return max(EASY, round(2.0 * self._nearest[0]) / 2.0)

    @cached_property
    def high_excess(self) -> float:
        """By what power of ten the worst pair is above its target at most, with the chance that `suitable` asks for;
        at most 0 where that is met."""
        return weighted_quantiles(*over_draws(self.excess), (SUITABLE,))[0]

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
    rates: Rates,
    targets: Mapping[str, float],
    *,
    approximate: bool = False,
    settable: bool = True,
    draws: Indices | slice = EVERY,
) -> Judgement:
    """A sheet at a set-up, by the chance that its rates meet every target. `draws`: which the rates are of.

    A sheet that is known by an approximation alone, and a set-up that cannot be set as exactly as it must be or whose
    beam does not wholly meet the sheet, are never more than a trial.
    """
    each = [np.log10(np.maximum(rates[pair], RAREST)) - log10(1e-6 * target) for pair, target in targets.items()]
    excess = reduce(np.maximum, each)
    chance = _told(chance_of(excess))
    if SUITABLE <= chance < SUITABLE + ROUNDED and weighted_quantiles(*over_draws(excess), (SUITABLE,))[0] > 0.0:
        # The same draws by their quantiles, as misreads are told, fall short: what is told must not contradict itself.
        chance = round(SUITABLE - ROUNDED, 2)
    verdict = verdict_of(chance)
    if verdict == "unsuitable" and may_turn(excess, draws):
        verdict = "trial-needed"
    judgement = Judgement(verdict=verdict, chance=chance, rates=rates, targets=targets, excess=excess)
    return judgement if settable and not approximate else judgement.at_most_trial()


def may_turn(excess: NDArray[np.float64], draws: Indices | slice = EVERY) -> bool:
    """Whether one of the unknowns has a value within its 5 to 95 % at which the chance reaches a half, from what is
    above target in each draw, (J or 1, drifts)."""
    passes = passing(excess)
    if len(passes) != COUNT or passes.mean() < LEAST_TO_TURN:
        return False
    places = np.linspace(-Z95, Z95, 9)
    return any(
        conditional_chances(drawn(name)[draws], passes, at=places, width=LIKE)[0].max() >= TURNED
        for name in UNKNOWNS
        if name not in AS_SET
    )


def verdict_of(chance: float) -> Verdict:
    """What a chance to meet every target comes to."""
    return "suitable" if chance >= SUITABLE else "trial-needed" if chance >= UNSUITABLE else "unsuitable"


def _told(chance: float) -> float:
    """To two digits, but not rounded up to a better verdict."""
    told = round(chance, 2)
    return told if verdict_of(told) == verdict_of(chance) else round(told - 0.01, 2)


def chance_band(chance: float) -> int:
    """How many of the edges a chance falls short of: 0 for the best."""
    return sum(chance < edge for edge in CHANCE_BANDS)


def joint_chance(judgements: Iterable[Judgement]) -> float:
    """The chance that several sheets' targets are all met: by the same draws, as they lie in one shop; never more than
    is claimed for one of them."""
    each = list(judgements)
    together = _told(chance_of(reduce(np.maximum, [judgement.excess for judgement in each])))
    return min(together, *(judgement.chance for judgement in each))


def _ratio(misread: Misread, target_ppm: float) -> float:
    assert misread.high is not None
    return log10(misread.high / target_ppm)
