"""The plan of a trial: numbers that belong together, sheets that must not be left out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheetmargin.contract.job import Double, Targets
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.principles.draws import DRIFTS, drawn
from sheetmargin_service.selection.trial import (
    HEAVY,
    LEAST,
    PRACTICABLE,
    long_run_bound,
    trial_plan,
    trial_sheets,
    trials_for,
    upper_bound,
)


def sheet(**fields):
    return resolve_sheet(SheetSpec(**fields), load_library())


COPY = sheet(material="copy-paper", grammage_gsm=80.0)
BOARD = sheet(material="folding-boxboard", grammage_gsm=300.0)
FOLDED = sheet(material="copy-paper", grammage_gsm=120.0, plies=4)
BLOCKED = sheet(material="copy-paper", grammage_gsm=100.0, double=Double(contact="bonded"))


def by_code(plan):
    return {note.code: note.values for note in plan}


def test_singles_within_reach_and_doubles_beyond_it():
    plan = by_code(trial_plan(targets=Targets(double_as_single=10.0, single_as_double=100.0)))
    # 1 - 0.05^(1/n) = 1e-4 for n = 29,956.
    assert plan["trial-singles"]["runs"] == 29_956
    assert plan["trial-singles"]["bound_ppm"] == pytest.approx(100.0, rel=1e-4)
    # 300 doubles without failure show 1 - 0.05^(1/300) = 0.9936 %; 10 in a million would ask for 299,572.
    assert plan["trial-doubles-short"]["runs"] == 300
    assert plan["trial-doubles-short"]["bound_ppm"] == pytest.approx(9936.0, rel=1e-3)
    assert plan["trial-doubles-short"]["wanted_runs"] == 299_572


def test_the_stricter_target_of_a_kind_counts():
    plan = by_code(trial_plan(targets=Targets(single_as_double=5000.0, single_as_no_sheet=1000.0)))
    assert plan["trial-singles"]["runs"] == 2995


@given(
    singles=st.none() | st.floats(1e-3, 1e6),
    doubles=st.none() | st.floats(1e-3, 1e6),
    failures=st.integers(0, 3),
)
def test_counts_are_within_reach_and_show_what_they_say(singles, doubles, failures):
    targets = Targets(single_as_double=singles, double_as_single=doubles)
    plan = by_code(trial_plan(targets=targets, failures=failures))
    for kind, wanted in (("singles", singles), ("doubles", doubles)):
        count = plan.get(f"trial-{kind}") or plan[f"trial-{kind}-short"]
        assert LEAST <= count["runs"] <= PRACTICABLE[kind]
        shown = upper_bound(trials=count["runs"], failures=failures)
        assert count["bound_ppm"] == pytest.approx(1e6 * shown)
        reached = wanted is None or shown <= 1e-6 * wanted
        assert (f"trial-{kind}" in plan) == reached
        if not reached:
            assert count["wanted_runs"] == trials_for(bound=1e-6 * wanted, failures=failures) > count["runs"]
    runs = plan["trial-pass"]
    assert plan["trial-levels"]["readings"] == runs["double_runs"]
    assert plan["trial-fail"]["failures"] == runs["failures_allowed"] + 1


def chosen(*sheets, weakest=()):
    return trial_sheets(dict(enumerate(sheets)), weakest=weakest)


def test_lightest_heaviest_and_most_blocked_are_run():
    plan = by_code(chosen(BOARD, COPY, FOLDED, BLOCKED).values())
    assert plan["trial-lightest"] == {"sheet": 1, "grammage_gsm": 80.0}
    assert plan["trial-heaviest"] == {"sheet": 2, "grammage_gsm": 480.0}
    assert plan["trial-most-blocked"]["sheet"] == 3


def test_of_each_set_up_the_weakest_is_run():
    middle = sheet(material="copy-paper", grammage_gsm=160.0)
    assert set(chosen(COPY, middle, FOLDED)) == {0, 2}
    found = chosen(COPY, middle, FOLDED, weakest=[1, 2])
    assert {i: note.code for i, note in found.items()}[1] == "trial-least-margin"
    assert set(found) == {0, 1, 2}


def test_a_sheet_is_named_once_and_a_single_sheet_has_no_reason():
    assert chosen(COPY, weakest=[0]) == {0: None}
    assert list(chosen(BLOCKED, BOARD, weakest=[0])) == [0, 1]


def test_the_order_of_the_list_does_not_decide_what_is_run():
    forward, backward = (by_code(chosen(*s).values()) for s in ((BOARD, COPY, FOLDED), (FOLDED, COPY, BOARD)))
    assert forward["trial-lightest"]["grammage_gsm"] == backward["trial-lightest"]["grammage_gsm"]
    assert forward["trial-heaviest"]["grammage_gsm"] == backward["trial-heaviest"]["grammage_gsm"]


@pytest.mark.parametrize("bound", [0.0, -0.1, 1.0, 2.0, float("nan")])
def test_a_bound_that_is_no_probability(bound):
    with pytest.raises(ValueError, match="between 0 and 1"):
        trials_for(bound=bound)


def rates_of_job(job, drift):
    """Misreads of a job by its own draw and by drift: over powers of ten, at most one in two."""
    return np.minimum(10.0 ** (-3.5 + 0.9 * job + 0.8 * drift), 0.5)


@pytest.mark.parametrize(("teachings", "sheets"), [(1, 300), (5, 300), (10, 2000)])
def test_what_a_trial_shows_of_the_long_run_holds_for_95_of_100_jobs(teachings, sheets):
    """Jobs and teach-ins are drawn, sheets of one teach-in share its drift; of each trial the bound is compared with
    the rate over all teach-ins to come."""
    believed = rates_of_job(drawn("film")[:, None], DRIFTS)
    rng = np.random.default_rng(7)
    jobs = rng.standard_normal(20_000)
    x, weight = np.polynomial.hermite_e.hermegauss(61)
    true = rates_of_job(jobs[:, None], x) @ (weight / weight.sum())
    drifts = rng.standard_normal((len(jobs), teachings))
    failed = rng.binomial(sheets // teachings, rates_of_job(jobs[:, None], drifts)).sum(axis=1)
    bounds = {
        k: long_run_bound(believed, sheets=sheets, teachings=teachings, failures=int(k)) for k in np.unique(failed)[:40]
    }
    counted = np.isin(failed, list(bounds))
    assert counted.mean() > 0.9
    covered = np.mean([true[i] <= bounds[failed[i]] for i in np.flatnonzero(counted)])
    print(teachings, sheets, covered)
    assert covered == pytest.approx(0.95, abs=0.01)


def test_one_teach_in_shows_less_than_several():
    """A set-up that is bad after a few teach-ins only passes most shifts."""
    believed = rates_of_job(drawn("film")[:, None], DRIFTS)
    one, five = (long_run_bound(believed, sheets=30_000, teachings=t, failures=0) for t in (1, 5))
    assert five < 0.7 * one


def test_heavy_stock_is_laid_by_hand():
    plan = by_code(trial_plan(targets=Targets(single_as_double=100.0, double_as_single=1000.0), heaviest_gsm=2500.0))
    assert plan["trial-singles-short"]["runs"] == HEAVY["singles"]
    assert plan["trial-doubles-short"]["runs"] == HEAVY["doubles"]


def test_rates_as_rare_as_numbers_go_show_no_more_than_the_model_believes():
    believed = np.full((1, len(DRIFTS)), 5e-324)
    assert long_run_bound(believed, sheets=30_000, teachings=5, failures=0) == pytest.approx(1e-12)
