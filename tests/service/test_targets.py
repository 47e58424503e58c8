"""Targets for misreads, and the verdict they lead to."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheetmargin.contract.answer import Misread, Misreads
from sheetmargin.contract.job import Targets
from sheetmargin_service.selection.targets import DEFAULTS_PPM, EASY, PAIRS, judge, targets_of

APART = {"no_sheet": 5.0, "single": 5.0, "double": 5.0}
FLOOR = Misread(estimate=1.0, low=1.0, high=1.0, floored=True)
NONE = Misreads(**dict.fromkeys(PAIRS, FLOOR))


def with_pair(pair, low, high):
    return replace(NONE, **{pair: Misread(estimate=0.5 * (low + high), low=low, high=high, floored=False)})


def test_defaults_are_taken_where_a_job_is_silent_and_told():
    targets, notes = targets_of(Targets())
    assert targets == DEFAULTS_PPM
    assert {n.pointer for n in notes} == {f"/targets/{pair}" for pair in DEFAULTS_PPM}
    assert all(n.code == "default-target" and n.value == DEFAULTS_PPM[n.pointer.rsplit("/", 1)[1]] for n in notes)


def test_what_is_given_counts_and_is_not_told():
    targets, notes = targets_of(Targets(double_as_single=7.0, no_sheet_as_double=3.0))
    assert targets["double_as_single"] == 7.0
    assert targets["no_sheet_as_double"] == 3.0
    assert {n.pointer for n in notes} == {f"/targets/{p}" for p in DEFAULTS_PPM if p != "double_as_single"}


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (1.0, 99.0, "suitable"),
        (1.0, 100.0, "suitable"),
        (1.0, 101.0, "trial-needed"),
        (100.0, 500.0, "trial-needed"),
        (101.0, 500.0, "unsuitable"),
    ],
)
def test_verdict_is_that_of_the_interval(low, high, verdict):
    judgement = judge(with_pair("double_as_single", low, high), {"double_as_single": 100.0}, step=1.0, margin=APART)
    assert judgement.verdict == verdict
    assert judgement.pair == "double_as_single"
    assert judgement.target_ppm == 100.0


@pytest.mark.parametrize("pair", PAIRS)
def test_each_pair_can_decide(pair):
    judgement = judge(with_pair(pair, 2e3, 3e3), dict.fromkeys(PAIRS, 1000.0), step=1.0, margin=APART)
    assert (judgement.pair, judgement.verdict) == (pair, "unsuitable")


def test_a_pair_without_a_target_does_not_decide():
    assert judge(with_pair("double_as_no_sheet", 1e5, 2e5), DEFAULTS_PPM, step=1.0, margin=APART).verdict == "suitable"


def test_the_worst_verdict_decides_before_the_worst_ratio():
    misreads = replace(
        with_pair("single_as_double", 1.0, 1e5),
        double_as_single=Misread(estimate=1500.0, low=1100.0, high=2000.0, floored=False),
    )
    assert judge(misreads, DEFAULTS_PPM, step=1.0, margin=APART).pair == "double_as_single"


def test_ratios_are_half_powers_of_ten_and_easy_ones_alike():
    assert (
        judge(with_pair("double_as_single", 1.0, 320.0), {"double_as_single": 1000.0}, step=1.0, margin=APART).ratio
        == -0.5
    )
    assert (
        judge(with_pair("double_as_single", 1.0, 3200.0), {"double_as_single": 1000.0}, step=1.0, margin=APART).ratio
        == 0.5
    )
    assert (
        judge(with_pair("double_as_single", 1.0, 2.0), {"double_as_single": 1e6}, step=1.0, margin=APART).ratio == EASY
    )


def test_an_approximation_is_at_most_a_trial():
    good, bad = with_pair("double_as_single", 1.0, 2.0), with_pair("double_as_single", 2e3, 3e3)
    assert judge(good, DEFAULTS_PPM, step=1.0, margin=APART).verdict == "suitable"
    assert judge(good, DEFAULTS_PPM, step=1.0, margin=APART, approximate=True).verdict == "trial-needed"
    assert judge(bad, DEFAULTS_PPM, step=1.0, margin=APART, approximate=True).verdict == "unsuitable"


@pytest.mark.parametrize(
    ("low", "high", "double", "verdict"),
    [
        (1.0, 1e6, -5.0, "unsuitable"),  # half of all doubles missed as far as is believed, and the states cross
        (1.0, 1e6, -0.5, "unsuitable"),
        (1.0, 1e6, -0.4, "trial-needed"),  # an edge between the steps of the band would leave room
        (1.0, 190.0, -5.0, "trial-needed"),  # the estimate, 95.5, meets the target
        (1.0, 100.0, -5.0, "suitable"),  # so does all that is possible
    ],
)
def test_a_trial_is_not_offered_where_the_states_cross_and_the_estimate_misses(low, high, double, verdict):
    misreads = with_pair("double_as_single", low, high)
    assert judge(misreads, {"double_as_single": 100.0}, step=1.0, margin=APART | {"double": double}).verdict == verdict


def test_the_margin_that_counts_is_that_of_the_true_state():
    misreads = with_pair("double_as_single", 1.0, 1e6)
    crossed = APART | {"single": -1.0, "no_sheet": -1.0}
    assert judge(misreads, {"double_as_single": 100.0}, step=1.0, margin=crossed).verdict == "trial-needed"


def test_what_cannot_be_set_is_never_more_than_a_trial():
    bad = with_pair("double_as_single", 1e4, 1e5)
    assert judge(NONE, DEFAULTS_PPM, step=1.0, margin=APART, settable=False).verdict == "trial-needed"
    assert judge(bad, DEFAULTS_PPM, step=1.0, margin=APART, settable=False).verdict == "unsuitable"
