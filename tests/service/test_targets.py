"""Targets for misreads, and the verdict they lead to."""

from __future__ import annotations

import numpy as np
import pytest
from sheetmargin.contract.job import Targets
from sheetmargin_service.principles.draws import DRIFTS
from sheetmargin_service.selection.targets import (
    DEFAULTS_PPM,
    EASY,
    PAIRS,
    Judgement,
    chance_band,
    joint_chance,
    judge,
    targets_of,
)

SURE = np.full((1, len(DRIFTS)), 1e-9)
NONE = dict.fromkeys(PAIRS, SURE)
"""Rates of nothing that ever happens."""


def with_pair(pair: str, *rates_ppm: float):
    """One pair that happens as often in some draws, all alike."""
    return NONE | {pair: 1e-6 * np.outer(rates_ppm, np.ones(len(DRIFTS)))}


def judged(rates, targets=DEFAULTS_PPM, **limits) -> Judgement:
    return judge(rates, targets, **limits)


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
    ("missed", "verdict"),
    [(0, "suitable"), (5, "suitable"), (6, "trial-needed"), (95, "trial-needed"), (96, "unsuitable")],
)
def test_verdict_is_that_of_the_chance(missed, verdict):
    """So many draws of a hundred miss the target."""
    rates = with_pair("double_as_single", *[2000.0] * missed, *[500.0] * (100 - missed))
    found = judged(rates)
    assert (found.verdict, found.chance) == (verdict, pytest.approx(1.0 - missed / 100))
    assert (found.pair, found.target_ppm) == ("double_as_single", 1000.0)


@pytest.mark.parametrize(("missed", "verdict", "told"), [(11, "trial-needed", 0.94), (191, "unsuitable", 0.04)])
def test_a_chance_is_not_rounded_up_to_a_better_verdict(missed, verdict, told):
    """So many draws of two hundred miss the target: 94.5 % is not 95 %."""
    found = judged(with_pair("double_as_single", *[2000.0] * missed, *[500.0] * (200 - missed)))
    assert (found.verdict, found.chance) == (verdict, told)
    assert joint_chance([found]) == told


@pytest.mark.parametrize("pair", PAIRS)
def test_each_pair_can_decide(pair):
    found = judged(with_pair(pair, 2e3), dict.fromkeys(PAIRS, 1000.0))
    assert (found.pair, found.verdict) == (pair, "unsuitable")


def test_a_pair_without_a_target_does_not_decide():
    assert judged(with_pair("double_as_no_sheet", 1e5)).verdict == "suitable"


def test_bad_luck_adds_up_over_the_pairs():
    """Half of the draws miss one target and the others another: no draw meets both."""
    rates = with_pair("double_as_single", 2000.0, 500.0) | {
        "single_as_double": 1e-6 * np.outer([50.0, 200.0], np.ones(len(DRIFTS)))
    }
    assert judged(rates).chance == 0.0


def test_sheets_share_their_draws():
    """Two sheets that fail in the same half of the draws are as good together as each; in different halves never."""
    first, same = judged(with_pair("double_as_single", 2e3, 5e2)), judged(with_pair("single_as_double", 2e2, 5e1))
    other = judged(with_pair("single_as_double", 5e1, 2e2))
    assert joint_chance([first, same]) == 0.5
    assert joint_chance([first, other]) == 0.0


def test_ratios_are_half_powers_of_ten_and_easy_ones_alike():
    assert judged(with_pair("double_as_single", 320.0)).ratio == -0.5
    assert judged(with_pair("double_as_single", 3200.0)).ratio == 0.5
    assert judged(with_pair("double_as_single", 2.0), {"double_as_single": 1e6}).ratio == EASY


def test_chances_are_ranked_in_bands():
    assert [chance_band(c) for c in (1.0, 0.95, 0.94, 0.8, 0.5, 0.2, 0.05, 0.04)] == [0, 0, 1, 1, 2, 3, 4, 5]


@pytest.mark.parametrize("limit", [{"approximate": True}, {"settable": False}])
def test_an_approximation_and_what_cannot_be_set_are_at_most_a_trial(limit):
    assert judged(NONE).verdict == "suitable"
    assert judged(NONE, **limit).verdict == "trial-needed"
    assert judged(with_pair("double_as_single", 3e3), **limit).verdict == "unsuitable"
