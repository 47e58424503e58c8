"""What trials leave of the chance: against many more draws weighed one by one, and in worlds drawn anew."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.stats import binom, norm
from sheetmargin.contract.job import Job, Sheet, Targets
from sheetmargin.contract.trials import InstalledBand, Trial
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.principles.draws import COUNT, DRIFTS, drift_weights, resampled
from sheetmargin_service.selection.experience import Experience, judge_by, log_likelihood, p_value
from sheetmargin_service.selection.recommend import recommend
from support.trials import CATALOGUE, LIBRARY, other_worlds, served, trial

CORK, FILM = Sheet(material="cork", thickness_um=8000), Sheet(material="pet", thickness_um=100)
AT_CORK = trial(("ultrasonic-120k", 83.8, 20.0), (21, 57))
AT_FILM = trial(("ultrasonic-300k", 40.0, 0.0), (8, 53))
OTHER_CORK, OTHER_FILM = (
    trial(("ultrasonic-180k", 45.0, 0.0), (19, 60)),
    trial(("ultrasonic-400k", 29.5, 0.0), (10, 57)),
)
ONE_MISSED = {"teach_ins": 3, "singles": 3000, "doubles": 300, "double_as_single": 1}
NONE = {"teach_ins": 5, "singles": 2000, "doubles": 1000}
CASES = {
    "where it was tried, one missed": (CORK, AT_CORK, ONE_MISSED, AT_CORK),
    "elsewhere, one missed": (CORK, AT_CORK, ONE_MISSED, OTHER_CORK),
    "where it was tried, none": (FILM, AT_FILM, NONE, AT_FILM),
    "elsewhere, none": (FILM, AT_FILM, NONE, OTHER_FILM),
}
KINDS = {"single_as_double": "singles", "double_as_single": "doubles"}


def slow_likelihood(tried: Trial, rates: dict[str, np.ndarray]) -> np.ndarray:
    """Every way in which the misreads may lie in the teach-ins, one after the other."""

    def ways(count: int) -> list[tuple[int, ...]]:
        return [way for way in product(range(count + 1), repeat=tried.teach_ins) if sum(way) == count]

    total: np.ndarray | float = 0.0
    for lies in product(*(ways(getattr(tried, kind)) for kind in KINDS)):
        likely: np.ndarray | float = 1.0
        for counts in zip(*lies, strict=True):
            here: np.ndarray | float = 1.0
            for (kind, fed), count in zip(KINDS.items(), counts, strict=True):
                here = here * binom.pmf(count, getattr(tried, fed) // tried.teach_ins, np.clip(rates[kind], 1e-6, 1.0))
            likely = likely * (here @ drift_weights())
        total = total + likely
    return np.broadcast_to(total, (COUNT,))


def passes(excess: np.ndarray) -> np.ndarray:
    """Share of teach-ins that meet the targets in each draw."""
    drifts = norm.ppf((np.arange(400) + 0.5) / 400)
    return np.array([np.mean(np.interp(drifts, DRIFTS, row) <= 0.0) for row in np.broadcast_to(excess, (COUNT, 17))])


@pytest.mark.parametrize("name", CASES)
def test_a_trial_moves_the_chance_as_many_draws_weighed_one_by_one_say(name: str) -> None:
    """Eight times the draws; a chance by 50 effective draws has a standard error of 0.07 where they are independent,
    and less where they are a net."""
    sheet, setup, outcome, asked = CASES[name]
    tried = replace(setup, **outcome)
    before, weight, moved = [], [], []
    for seed in range(100, 108):
        with other_worlds(seed):
            likely = slow_likelihood(tried, served(sheet, tried).judgement.rates)
        with other_worlds(seed, set_anew=None if asked is setup else seed + 1000):
            here = passes(served(sheet, asked).judgement.excess)
        before.append(here.mean())
        weight.append(likely.sum())
        moved.append((likely * here).sum())
    found = served(replace(sheet, trials=(tried,)), asked).judgement
    after = sum(moved) / sum(weight)
    print(name, np.mean(before), after, found.chance_before, found.chance)
    assert abs(after - np.mean(before)) > 0.03
    assert found.chance_before == pytest.approx(np.mean(before), abs=0.02)
    assert found.chance == pytest.approx(after, abs=0.05)


@pytest.mark.parametrize(
    "outcome", [ONE_MISSED, NONE, {**NONE, "teach_ins": 3, "singles": 1001, "single_as_double": 2}]
)
def test_the_likelihood_sums_over_the_ways_in_which_misreads_may_lie(outcome: dict[str, int]) -> None:
    rng = np.random.default_rng(1)
    rates = {kind: 10.0 ** rng.uniform(-5.0, -1.0, (COUNT, len(DRIFTS))) for kind in KINDS}
    tried = replace(AT_FILM, **outcome)
    even = tried.singles % tried.teach_ins == 0
    found, slow = np.exp(log_likelihood(tried, rates)), slow_likelihood(tried, rates)
    assert found / found.sum() == pytest.approx(slow / slow.sum(), rel=1e-9 if even else 0.05)


def test_teach_ins_share_a_job_and_not_a_drift() -> None:
    """Misreads that come by drift alone: in one teach-in of many they say less than in the only one."""
    bad = np.where(np.abs(DRIFTS) > 1.9, 0.3, 1e-5)
    rates = {"single_as_double": np.full((1, len(DRIFTS)), 1e-6), "double_as_single": np.stack([bad, bad * 0.0 + 1e-5])}
    rates = {kind: np.resize(rate, (COUNT, len(DRIFTS))) for kind, rate in rates.items()}
    odds = [
        np.subtract(*log_likelihood(replace(AT_FILM, doubles=1000, teach_ins=count), rates)[:2]) for count in (1, 10)
    ]
    assert odds[1] < 5.0 * odds[0] < 0.0


def test_resampling_takes_each_draw_as_often_as_its_weight() -> None:
    weights = np.random.default_rng(2).dirichlet(np.full(COUNT, 0.3))
    counts = np.bincount(resampled(weights), minlength=COUNT)
    assert counts.sum() == COUNT
    assert np.abs(counts - COUNT * weights).max() <= 1.0
    assert np.array_equal(resampled(np.full(COUNT, 1.0 / COUNT)), np.arange(COUNT))


def test_a_trial_that_the_model_cannot_explain_leaves_even_odds_at_most() -> None:
    """A sheet that is all but sure: a tenth of its doubles missed."""
    sheet, at = Sheet(material="copper", thickness_um=50), trial(("eddy-current-10k", 45.0, 0.0), (5, 11))
    failed = replace(at, doubles=300, double_as_single=30)
    before, after = served(sheet, at).judgement, served(replace(sheet, trials=(failed,)), at).judgement
    assert before.verdict == "suitable"
    assert (after.chance, after.verdict) == (0.5, "trial-needed")
    assert after.misreads == before.misreads


def few(kept: int) -> Experience:
    draws = np.resize(np.arange(kept), COUNT)
    return Experience(trials=(AT_FILM,), draws=draws, kept=float(kept), explained=True)


def test_too_few_draws_sharpen_nothing() -> None:
    """One draw of which every target is met, among many that are not: no suitable set-up, and no narrower interval."""
    rate = np.full((COUNT, len(DRIFTS)), 1e-2)
    rate[0] = 1e-6
    rates = dict.fromkeys(("double_as_single", "single_as_double"), rate)
    rates |= {f"{kind}": rate * 0.0 for kind in ("single_as_no_sheet", "double_as_no_sheet")}
    rates |= {f"no_sheet_as_{kind}": rate * 0.0 for kind in ("single", "double")}
    targets = {"double_as_single": 1000.0}
    before, after = judge_by(None, rates, targets), judge_by(few(1), rates, targets)
    assert after.chance == before.chance < 0.05
    assert after.misreads == before.misreads
    assert judge_by(few(1), {**rates, "double_as_single": rate * 0.0 + 1e-6}, targets).verdict == "trial-needed"


def test_the_answer_says_how_much_a_trial_weighs() -> None:
    sheet = replace(FILM, trials=(replace(AT_FILM, **NONE),))
    asked = Job(sheets=(sheet,), principles=("ultrasonic",))
    answer = recommend(asked, catalogue=CATALOGUE, library=LIBRARY)
    for one in answer.recommendations:
        (reason,) = [reason for reason in one.reasons if reason.code.startswith("trial-")]
        assert reason.code == "trial-weighs"
        assert reason.values["chance_pct"] == pytest.approx(100.0 * one.chance)
        assert float(str(reason.values["before_chance_pct"])) <= float(str(reason.values["chance_pct"]))
        assert 0.0 < float(str(reason.values["kept_share_pct"])) < 100.0
        assert (reason.values["singles_fed"], reason.values["doubles_fed"]) == (2000, 1000)
    weighed = [r.values for one in answer.recommendations for r in one.reasons if r.code == "trial-weighs"]
    assert any(float(str(each["chance_pct"])) > float(str(each["before_chance_pct"])) + 10.0 for each in weighed)


def test_a_trial_of_one_sheet_says_nothing_of_another() -> None:
    tried = replace(FILM, trials=(replace(AT_FILM, **NONE),))
    other = Sheet(material="copy-paper", grammage_gsm=80)
    job = Job(sheets=(tried, other), principles=("ultrasonic",), targets=Targets(double_as_single=1000))
    alone = recommend(replace(job, sheets=(other,)), catalogue=CATALOGUE, library=LIBRARY)
    both = recommend(job, catalogue=CATALOGUE, library=LIBRARY)
    codes = [(r.code, r.values["sheet"]) for one in both.recommendations for r in one.reasons if "trial-w" in r.code]
    assert codes
    assert {sheet for _, sheet in codes} == {0}
    assert not [r for one in alone.recommendations for r in one.reasons if r.code.startswith("trial-")]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"detector_class": "ultrasonic-300"}, "detector_class"),
        ({"gap_mm": 400.0}, "gap_mm"),
        ({"tilt_deg": 70.0}, "tilt_deg"),
        ({"band": InstalledBand(low=60, high=53)}, "band/low"),
        ({"doubles": 10, "double_as_single": 11}, "double_as_single"),
        ({"singles": 100, "teach_ins": 2, "single_as_double": 21}, "single_as_double"),
    ],
)
def test_a_trial_that_cannot_have_been_is_told_by_its_field(change: dict[str, object], field: str) -> None:
    job = Job(sheets=(FILM, replace(FILM, trials=(AT_FILM, replace(AT_FILM, **change)))))
    with pytest.raises(QuestionError) as raised:
        recommend(job, catalogue=CATALOGUE, library=LIBRARY)
    assert raised.value.field == f"sheets/1/trials/1/{field}"


def test_the_chance_of_an_outcome_is_that_of_its_kind() -> None:
    rates = {kind: np.full((1, len(DRIFTS)), 1e-3) for kind in KINDS}
    tried = replace(AT_FILM, doubles=1000, double_as_single=5)
    assert p_value(tried, rates) == pytest.approx(binom.sf(4, 1000, 1e-3), rel=1e-9)
    assert p_value(replace(tried, double_as_single=0), rates) == 1.0


@pytest.mark.long
@pytest.mark.parametrize("name", ["where it was tried, one missed", "elsewhere, one missed", *list(CASES)[2:]])
def test_after_a_trial_the_interval_holds_the_truth_and_narrows(name: str) -> None:
    """200 worlds drawn by another seed: in each a trial is run, and the rate of a teach-in to come looked at. Where too
    many are misread to be summed over, each teach-in is told by itself."""
    sheet, setup, outcome, asked = CASES[name]
    teach_ins, fed = outcome["teach_ins"], {kind: outcome[each] // outcome["teach_ins"] for kind, each in KINDS.items()}
    rng = np.random.default_rng(7)
    with other_worlds(500):
        there = served(sheet, setup).judgement.rates
    with other_worlds(500, set_anew=None if asked is setup else 501):
        here = served(sheet, asked).judgement.rates["double_as_single"]
    before = served(sheet, asked).judgement.misreads.double_as_single
    holds, widths = [], []
    for world in range(200):
        runs = []
        for drift in rng.standard_normal(teach_ins):
            rate = {k: np.interp(drift, DRIFTS, np.broadcast_to(there[k], (COUNT, 17))[world]) for k in KINDS}
            runs.append({kind: int(rng.binomial(fed[kind], rate[kind])) for kind in KINDS})
        told = [{**{KINDS[kind]: fed[kind] for kind in KINDS}, **run} for run in runs]
        if max(sum(run[kind] for run in runs) for kind in KINDS) <= 20:
            told = [{name: sum(run[name] for run in told) for name in told[0]} | {"teach_ins": teach_ins}]
        tried = tuple(replace(setup, **one) for one in told)
        found = served(replace(sheet, trials=tried), asked).judgement.misreads.double_as_single
        drift = rng.standard_normal()
        truth = max(1.0, 1e6 * np.interp(drift, DRIFTS, np.broadcast_to(here, (COUNT, 17))[world]))
        holds.append(found.low * 0.999 <= truth <= found.high * 1.001)
        widths.append(np.log(found.high / found.low) / np.log(before.high / before.low))
    print(name, np.mean(holds), np.mean(widths))
    assert 0.84 <= np.mean(holds) <= 0.96
    assert np.mean(widths) < 0.95
