"""What trials say of a sheet: how likely each draw of what is not known of it still is.

A trial is `k` misreads of a kind among `n` sheets, over some teach-ins. What is drawn for the job is the same in all of
them; drift is drawn anew for each. So the likelihood of a draw is the chance of these counts over its teach-ins,
by the model's own rates in that draw: binomial within a teach-in, kinds of misread apart from each other given its
drift, summed over its drift. By Bayes' rule that is the weight of the draw; a sample of the draws in proportion to it
(systematic resampling [1]) then takes their place, so that everything that is computed over draws is computed over
what the trial left.

Where few draws carry the weight [2], or where no draw makes the outcome likely, the model does not know enough of this
sheet for a figure: rates are then told as before, no more is claimed than before, and a trial is asked for.

References
----------
[1] Kitagawa, "Monte Carlo filter and smoother", J. Comput. Graph. Stat. 5, 1 (1996), appendix A.
[2] Kong, Liu and Wong, "Sequential imputations and Bayesian missing data problems", JASA 89, 278 (1994): the effective
    number of draws.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc, logsumexp
from sheetmargin.contract.trials import Trial

from sheetmargin_service.principles.draws import COUNT, drift_weights, resampled
from sheetmargin_service.selection.binomial import log_binomial
from sheetmargin_service.selection.misreads import FLOOR_PPM, Rates
from sheetmargin_service.selection.targets import ORDER, Judgement, judge, verdict_of

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

LEAST_KEPT = 20.0
"""Effective draws below which a posterior is too coarse for a chance (a choice, stated)."""
UNEXPLAINED = 0.01
"""Chance of so many misreads or more below which the model does not explain a trial."""
EVEN = 0.5
"""What is claimed at most where it does not: that nobody knows."""
SAME_PLACE = 0.05
"""Gaps in mm and tilts in degrees this near are the same (half of what they are told to)."""
RATES = 1e-6 * FLOOR_PPM, 1.0 - 1e-6 * FLOOR_PPM
"""Rates that are told apart: so far out, the shapes of the distributions are a guess."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tried:
    """A trial, and the logarithm of its likelihood in each draw (COUNT,): `as_set` where the heads stay as they were,
    `set_anew` where they are mounted anew. `p_value`: chance of so many misreads or more, of the kind that comes off
    worst."""

    trial: Trial
    as_set: Array
    set_anew: Array
    p_value: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Experience:
    """What trials of one sheet leave of the draws: their indices, each as often as it is likely (COUNT,), and how many
    that are in effect."""

    trials: tuple[Trial, ...]
    draws: Indices
    kept: float
    explained: bool

    @property
    def doubt(self) -> str | None:
        """Why it is not enough for a figure, by its code; None where it is."""
        if not self.explained:
            return "trial-unexplained"
        return "trial-keeps-few" if self.kept < LEAST_KEPT else None


def experience_at(tried: Sequence[Tried], *, detector_class: str, gap_mm: float, tilt_deg: float) -> Experience:
    """What trials say of a place of a class: where one was run, how the heads were set is known with the rest."""

    def there(trial: Trial) -> bool:
        off_mm, off_deg = abs(trial.gap_mm - gap_mm), abs(trial.tilt_deg - tilt_deg)
        return trial.detector_class == detector_class and max(off_mm, off_deg) < SAME_PLACE

    log_weights = np.sum([one.as_set if there(one.trial) else one.set_anew for one in tried], axis=0)
    weights = np.exp(log_weights - logsumexp(log_weights))
    return Experience(
        trials=tuple(one.trial for one in tried),
        draws=resampled(weights),
        kept=float(1.0 / np.square(weights).sum()),
        explained=min(one.p_value for one in tried) >= UNEXPLAINED,
    )


def judge_by(
    experience: Experience | None,
    rates: Rates,
    targets: Mapping[str, float],
    *,
    approximate: bool = False,
    settable: bool = True,
) -> Judgement:
    """A sheet at a set-up by what trials left of its draws; by all of them, and at most a trial, where that is in
    doubt."""
    before = judge(rates, targets, approximate=approximate, settable=settable)
    if experience is None:
        return before
    left = {pair: rate[experience.draws] if len(rate) > 1 else rate for pair, rate in rates.items()}
    after = judge(left, targets, approximate=approximate, settable=settable, draws=experience.draws)
    if experience.doubt is None:
        return replace(after, chance_before=before.chance)
    chance = min(before.chance, after.chance, 1.0 if experience.explained else EVEN)
    verdict = max(before.at_most_trial().verdict, verdict_of(chance), key=lambda verdict: ORDER[verdict])
    return replace(before, chance=chance, verdict=verdict, chance_before=before.chance)


def log_likelihood(trial: Trial, rates: Rates) -> Array:
    """Of a trial in each draw, (COUNT,), by the rates there."""
    counts = [np.arange(0 if trial.teach_ins > 1 else k, k + 1) for k in _misread(trial)]
    total = np.zeros((1, len(counts[0]), len(counts[1])))
    total[0, 0, 0] = 1.0
    log_scale: Array = np.zeros((1, 1, 1))
    # So many sheets in each teach-in: as even as can be.
    parts = Counter(tuple((n + turn) // trial.teach_ins for n in _fed(trial)) for turn in range(trial.teach_ins))
    for fed, turns in parts.items():
        singles, doubles = (
            log_binomial(count, n, rate[..., None]) for count, n, rate in zip(counts, fed, _pairs(rates), strict=True)
        )
        by_drift = singles[..., :, None] + doubles[..., None, :]
        log_one: Array = np.asarray(logsumexp(by_drift, b=drift_weights()[:, None, None], axis=1))
        most = log_one.max(axis=(1, 2), keepdims=True)
        for _ in range(turns):
            total, log_scale = _together(total, np.exp(log_one - most)), log_scale + most
    with np.errstate(divide="ignore"):
        found = np.log(total) + log_scale
    return np.broadcast_to(found[:, -1, -1], (COUNT,))


def p_value(trial: Trial, rates: Rates) -> float:
    """Chance of so many misreads or more over all draws, of the kind that comes off worst, as if of one teach-in."""
    each = zip(_misread(trial), _fed(trial), _pairs(rates), strict=True)
    return min(float(np.mean(bdtrc(k - 1, n, rate) @ drift_weights())) for k, n, rate in each)


def _misread(trial: Trial) -> tuple[int, int]:
    return trial.single_as_double, trial.double_as_single


def _fed(trial: Trial) -> tuple[int, int]:
    return trial.singles, trial.doubles


def _pairs(rates: Rates) -> tuple[Array, Array]:
    return np.clip(rates["single_as_double"], *RATES), np.clip(rates["double_as_single"], *RATES)


def _together(some: Array, others: Array) -> Array:
    """How likely counts (J, singles, doubles) are of two parts of a trial together, as far as they are told."""
    singles, doubles = some.shape[1:]
    found = np.zeros((max(len(some), len(others)), singles, doubles))
    for s, d in product(range(singles), range(doubles)):
        found[:, s:, d:] += some[:, s : s + 1, d : d + 1] * others[:, : singles - s, : doubles - d]
    return found
