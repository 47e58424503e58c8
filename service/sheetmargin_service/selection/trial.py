"""A trial on the machine: of which sheets, how many singles and doubles, what to record, what passes.

References
----------
[1] Clopper and Pearson, "The use of confidence or fiducial limits", Biometrika 26, 404 (1934).
[2] Hanley and Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA 249, 1743 (1983): rule of three.
[3] Natrella, Experimental Statistics, NBS Handbook 91 (1963), section 2-5: one-sided tolerance limits, normal spread.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil, log, log1p, sqrt

from scipy.special import bdtr, betaincinv, nctdtrit, ndtri
from sheetmargin.contract.job import Targets
from sheetmargin.contract.notes import Note

from sheetmargin_service.materials.sheet import Sheet

CONFIDENCE = 0.95
PRACTICABLE = {"singles": 30_000, "doubles": 300}
"""What a trial can reach (a choice): singles run by themselves for some hours, every double is laid by hand."""
LEAST = 30
"""Fewer runs are no trial, whatever the target allows (a choice)."""
LEVEL_SHARE = 0.999
"""Share of the doubles that their levels are to keep outside the band; further out a normal tail would be a guess."""
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


def tolerance_factor(*, readings: int, share: float, confidence: float = CONFIDENCE) -> float:
    """k, so that `share` of a normal spread lies above mean - k s, of `readings` readings, with this confidence [3]."""
    return float(nctdtrit(readings - 1, ndtri(share) * sqrt(readings), confidence) / sqrt(readings))


def trial_plan(*, targets: Targets, failures: int = 0) -> tuple[Note, ...]:
    """What is done with each sheet that is tested: the bounds hold for each that is run."""
    singles = _least(targets.single_as_double, targets.single_as_no_sheet)
    doubles = _least(targets.double_as_single, targets.double_as_no_sheet)
    single_runs, double_runs = (
        _runs(wanted, most=PRACTICABLE[kind], failures=failures)
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
                "factor": tolerance_factor(readings=double_runs, share=LEVEL_SHARE),
                "share_pct": 100.0 * LEVEL_SHARE,
                "confidence_pct": 100.0 * CONFIDENCE,
            },
        ),
        Note(code="trial-record", values={}),
        Note(
            code="trial-pass",
            values={"single_runs": single_runs, "double_runs": double_runs, "failures_allowed": failures},
        ),
        Note(code="trial-fail", values={"failures": failures + 1}),
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
