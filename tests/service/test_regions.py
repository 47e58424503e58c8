"""Runs of places, and their centres."""

from __future__ import annotations

import numpy as np
from sheetmargin_service.selection.regions import nearest_the_centre, run_about


def test_a_run_is_what_steps_reach():
    assert run_about([0, 1, 2, 4], 1) == [0, 1, 2]
    assert run_about([7, 3, 4, 5], 4) == [3, 4, 5]
    assert run_about([7], 7) == [7]


def test_the_centre_is_of_the_axis_and_of_the_weights():
    axis = np.array([0.0, 1.0, 2.0, 10.0])
    assert nearest_the_centre([0, 1, 2, 3], axis, np.ones(4)) == 2
    assert nearest_the_centre([0, 1, 2, 3], axis, np.array([1.0, 1.0, 1.0, 0.01])) == 1
    assert nearest_the_centre([3], axis, np.ones(1)) == 3


def test_the_centre_of_an_even_number_is_the_first_of_the_two_whatever_the_ripple():
    for ripple in (-0.05, 0.0, 0.05):
        assert nearest_the_centre([0, 1], np.array([0.0, 1.0]), np.array([1.0, 1.0 + ripple])) == 0
        assert nearest_the_centre([1, 2, 3, 4], 5.0 * np.arange(5), np.array([1.0, 1.0 + ripple, 1.0, 1.0])) == 2
