"""A trial on the machine: of which sheets, how many singles and doubles, what to record, what passes.

References
----------
[1] Clopper and Pearson, "The use of confidence or fiducial limits", Biometrika 26, 404 (1934).
[2] Hanley and Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA 249, 1743 (1983): rule of three.
[3] Wilks, "Determination of sample sizes for setting tolerance limits", Ann. Math. Stat. 12, 91 (1941): by order
    statistics, for any distribution.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import ceil, log, log1p

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, betaincinv
from sheetmargin.contract.job import Targets
from sheetmargin.contract.notes import Note

from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.draws import drift_weights, weighted_quantiles
from sheetmargin_service.selection.binomial import log_binomial
from sheetmargin_service.selection.misreads import FLOOR_PPM, Rates

Array = NDArray[np.float64]

CONFIDENCE = 0.95
PRACTICABLE = {"singles": 30_000, "doubles": 300}
"""What a trial can reach (a choice): singles run by themselves for some hours, every double is laid by hand."""
LEAST = 30
"""Fewer runs are no trial, whatever the target allows (a choice)."""
HEAVY_GSM = 1_000.0
HEAVY = {"singles": 60, "doubles": 30}
"""Sheets from this mass on are laid by hand: so many are handy (a choice)."""
TEACHINGS = 5
"""Teach-ins that a trial is spread over: on as many days (a choice)."""
RAREST = 1e-12
"""Rates below this are not told apart."""
_BLOCKED_FIRST = ("bonded", "water-film", "partial", "air")


def upper_bound(*, trials: int, failures: int, confidence: float = CONFIDENCE) -> float:
    """One-sided upper bound of a probability from `failures` in `trials` [1]."""
    if failures >= trials:
        return 1.0
    return float(betaincinv(failures + 1, trials - failures, confidence))


def trials_for(*, bound: float, failures: int = 0, confidence: float = CONFIDENCE) -> int:
    """Least number of trials in which `failures` still show a probability of at most `bound` [1].

    Without failures 1 - bound to the power n is 1 - confidence: about 3/bound at 95 % [2].

    Raises ValueError for a bound that is no probability between 0 and 1.
    """
    if not 0.0 < bound < 1.0:
        raise ValueError(f"the bound is {bound}; it must lie between 0 and 1")
    if failures == 0:
        return ceil(log(1.0 - confidence) / log1p(-bound))
    low, high = failures, failures + 1
    while bdtr(failures, high, bound) > 1.0 - confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if bdtr(failures, middle, bound) > 1.0 - confidence:
            low = middle
        else:
            high = middle
    return high


def share_beyond_least(*, readings: int, confidence: float = CONFIDENCE) -> float:
    """Share of all levels that lies above the least of so many, with this confidence, whatever their law [3]."""
    return float((1.0 - confidence) ** (1.0 / readings))


def long_run_bound(
    rates: Array, *, sheets: int, teachings: int, failures: int, confidence: float = CONFIDENCE
) -> float:
    """What a trial shows of the long run: the rate that is kept to with a confidence, over teach-ins to come.

    `rates` (J, drifts) are those of the model, by draw and by drift since the teach-in (see `principles.draws`). Sheets
    of one teach-in share its drift, so that their failures come together: how likely so many are over some teach-ins of
    equal size is summed over the drift of each, and the draws count by that.
    """
    each = np.arange(failures + 1)
    by_drift = np.exp(log_binomial(each[:, None, None], max(sheets // teachings, 1), np.clip(rates, RAREST, 1.0)))
    one = by_drift @ drift_weights()
    likelihood = one
    for _ in range(teachings - 1):
        likelihood = np.array([sum(likelihood[a] * one[k - a] for a in range(k + 1)) for k in each])
    weights = likelihood[failures]
    means = np.clip(rates @ drift_weights(), RAREST, 1.0)
    if weights.sum() == 0.0:
        return 1.0
    return float(np.exp(weighted_quantiles(np.log(means), weights / weights.sum(), (confidence,))[0]))


def trial_plan(
    *, targets: Targets, failures: int = 0, heaviest_gsm: float = 0.0, rates: Rates | None = None
) -> tuple[Note, ...]:
    """What is done with each sheet that is tested: the bounds hold for each that is run, within the teach-ins of the
    trial. `rates` are the model's, of the sheet that is likeliest to miss a target: what the trial says of the long
    run."""
    most = HEAVY if heaviest_gsm >= HEAVY_GSM else PRACTICABLE
    singles = _least(targets.single_as_double, targets.single_as_no_sheet)
    doubles = _least(targets.double_as_single, targets.double_as_no_sheet)
    single_runs, double_runs = (
        _runs(wanted, most=most[kind], failures=failures)
        for kind, wanted in (("singles", singles), ("doubles", doubles))
    )
    return (
        Note(code="trial-safely", values={}),
        _count("singles", singles, runs=single_runs, failures=failures),
        _count("doubles", doubles, runs=double_runs, failures=failures),
        Note(code="trial-lay-doubles", values={}),
        Note(
            code="trial-levels",
            values={
                "readings": double_runs,
                "share_pct": 100.0 * share_beyond_least(readings=double_runs),
                "confidence_pct": 100.0 * CONFIDENCE,
            },
        ),
        *(() if rates is None else _over_teachings(rates, doubles=double_runs, singles=single_runs, failures=failures)),
        Note(code="trial-record", values={}),
        Note(
            code="trial-pass",
            values={"single_runs": single_runs, "double_runs": double_runs, "failures_allowed": failures},
        ),
        Note(code="trial-fail", values={"failures": failures + 1}),
    )


def _over_teachings(rates: Rates, *, doubles: int, singles: int, failures: int) -> Iterator[Note]:
    """That a trial is spread over teach-ins, and what it then says of the long run, which one alone does not."""
    for kind, pair, sheets in (("singles", "single_as_double", singles), ("doubles", "double_as_single", doubles)):
        spread, alone = (
            1e6 * long_run_bound(rates[pair], sheets=sheets, teachings=teachings, failures=failures)
            for teachings in (TEACHINGS, 1)
        )
        yield Note(
            code=f"trial-teachings-{kind}",
            values={
                "teachings": TEACHINGS,
                "bound_ppm": max(spread, FLOOR_PPM),
                "alone_ppm": max(alone, FLOOR_PPM),
                "confidence_pct": 100.0 * CONFIDENCE,
            },
        )


def _least(*ppm: float | None) -> float | None:
    return min((target for target in ppm if target is not None), default=None)


def _runs(wanted_ppm: float | None, *, most: int, failures: int) -> int:
    """As many as the target asks for, as far as a trial can reach."""
    if wanted_ppm is None or upper_bound(trials=most, failures=failures) > 1e-6 * wanted_ppm:
        return most
    if upper_bound(trials=LEAST, failures=failures) <= 1e-6 * wanted_ppm:
        return LEAST
    return trials_for(bound=1e-6 * wanted_ppm, failures=failures)


def _count(kind: str, wanted_ppm: float | None, *, runs: int, failures: int) -> Note:
    """How many to run and what that shows; what the target would ask for where it is out of reach."""
    bound_ppm = 1e6 * upper_bound(trials=runs, failures=failures)
    values = {
        "runs": runs,
        "bound_ppm": bound_ppm,
        "confidence_pct": 100.0 * CONFIDENCE,
        "failures_allowed": failures,
    }
    if wanted_ppm is None or bound_ppm <= wanted_ppm:
        return Note(code=f"trial-{kind}", values=values)
    wanted = {"wanted_ppm": wanted_ppm, "wanted_runs": trials_for(bound=1e-6 * wanted_ppm, failures=failures)}
    return Note(code=f"trial-{kind}-short", values={**values, **wanted})


def trial_sheets(sheets: Mapping[int, Sheet], *, weakest: Sequence[int]) -> dict[int, Note | None]:
    """The sheets of a list, by their index, that a trial must not leave out, each once and why: those that differ most,
    and of each set-up the `weakest`. A sheet by itself needs no reason."""
    if len(sheets) < 2:
        return dict.fromkeys(sheets)
    mass = {i: sheet.plies * sheet.grammage_gsm for i, sheet in sheets.items()}
    air = {i: sheet.trapped_air.p5_um for i, sheet in sheets.items()}
    blocked = {i: (_BLOCKED_FIRST.index(sheet.contact), sheet.trapped_air.p5_um) for i, sheet in sheets.items()}
    lightest, heaviest = (choose(mass, key=lambda i: mass[i]) for choose in (min, max))
    most_blocked = min(blocked, key=lambda i: blocked[i])
    chosen = (
        (lightest, "trial-lightest", {"grammage_gsm": mass[lightest]}),
        (heaviest, "trial-heaviest", {"grammage_gsm": mass[heaviest]}),
        (most_blocked, "trial-most-blocked", {"trapped_air_um": air[most_blocked]}),
        *((i, "trial-least-margin", {}) for i in weakest),
    )
    notes: dict[int, Note | None] = {}
    for index, code, values in chosen:
        notes.setdefault(index, Note(code=code, values={"sheet": index, **values}))
    return notes
