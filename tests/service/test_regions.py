"""Regions of a grid."""

from __future__ import annotations

import numpy as np
from sheetmargin_service.selection.regions import connected, longest_run, nearest_the_middle


def test_a_region_is_what_steps_along_rows_and_across_them_reach():
    """Three to a row: 2 and 3 are ends of rows and no neighbours; 8 is reached by nothing."""
    assert connected([0, 1, 2, 3, 8], 1, width=3) == [0, 1, 2, 3]
    assert connected([2, 3], 2, width=3) == [2]
    assert connected([3, 4, 8], 4, width=3) == [3, 4]
    assert connected([0, 4], 0, width=3) == [0]


def test_the_longest_run():
    assert longest_run([1, 3, 4, 5, 8, 9]) == [3, 4, 5]
    assert longest_run([1, 2, 4, 5]) == [1, 2]
    assert longest_run([7]) == [7]


def test_the_middle_is_of_the_axis_and_not_of_the_count():
    assert nearest_the_middle([0, 1, 2, 3], np.array([0.0, 1.0, 2.0, 10.0])) == 2
    assert nearest_the_middle([0, 1], np.array([0.0, 1.0])) == 0
