"""Tilts: how far they go, and how a level runs over them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.pair import Row, pair_at, pair_in_air
from sheetmargin_service.principles.ultrasonic.pair_group import PairGroup
from sheetmargin_service.principles.ultrasonic.tilts import (
    STEP_DEG,
    greatest_tilt_deg,
    run_over,
    run_over_settings,
    searched_tilts_deg,
    with_neighbours,
)
from support.principle_cases import CONDITIONS, detector_class

GREATEST = 60.0


def half_angle_deg(frequency_hz: float, face_radius_mm: float) -> float:
    """sine 1.616/(k a) in air of 344 m/s."""
    return float(np.degrees(np.arcsin(1.616 / (2.0 * np.pi * frequency_hz / 344.0 * 1e-3 * face_radius_mm))))


@given(frequency=st.floats(60e3, 500e3), radius=st.floats(3.0, 20.0))
def test_the_greatest_tilt_is_the_last_step_before_sound_grazes_the_sheet(frequency, radius):
    tilt = greatest_tilt_deg(frequency_hz=frequency, face_radius_mm=radius)
    beam = 3.0 * half_angle_deg(frequency, radius)
    assert tilt == STEP_DEG or tilt + beam <= 70.1
    assert tilt + beam + STEP_DEG > 69.9
    searched = searched_tilts_deg(frequency_hz=frequency, face_radius_mm=radius)
    assert (searched[0], searched[-1]) == (0.0, tilt)
    assert np.all(np.diff(searched) == STEP_DEG)


def test_a_beam_that_sounds_all_round_is_looked_at_square_on_and_a_step_off():
    assert greatest_tilt_deg(frequency_hz=20e3, face_radius_mm=3.0) == STEP_DEG
    assert searched_tilts_deg(frequency_hz=20e3, face_radius_mm=3.0).tolist() == [0.0, STEP_DEG]


@given(tilts=st.lists(st.floats(0.0, GREATEST), min_size=1, max_size=8, unique=True).map(sorted))
def test_a_parabola_is_read_as_it_is(tilts):
    """About square on, so that it mirrors; whatever tilts are asked for, however near to each other."""
    every, at = with_neighbours(tilts, greatest_deg=GREATEST)
    grid = np.array(every)
    run = run_over(grid)
    assert run.known[at].all()
    assert grid[at].tolist() == tilts
    assert grid.max() <= GREATEST
    slope, curvature = run.slope_and_curvature(40.0 - 0.01 * grid**2)
    assert slope[at] == pytest.approx(-0.02 * np.array(tilts), abs=1e-6)
    assert curvature[at] == pytest.approx(np.full(len(tilts), -0.02), abs=1e-6)


def test_what_is_not_there_is_not_known():
    assert not run_over(np.array([20.0])).known.any()
    assert run_over(np.array([0.0, 5.0, 10.0, 15.0])).known.all()
    assert run_over(np.array([0.0, 5.0, 11.0])).known.tolist() == [True, False, False]


def test_settings_of_several_pairs_stand_one_after_another():
    first, second = np.arange(0.0, 50.0, STEP_DEG), np.arange(0.0, 65.0, STEP_DEG)
    run = run_over_settings([first, second], [2, 3])
    level = np.concatenate([np.tile(0.3 * first, 2), np.tile(0.5 * second, 3)])
    slope, _ = run.slope_and_curvature(level)
    leaning = np.concatenate([np.tile(first, 2), np.tile(second, 3)]) > 0.0
    assert slope[leaning] == pytest.approx(np.where(np.arange(59) < 20, 0.3, 0.5)[leaning])


def test_a_pair_without_neighbours_is_refused():
    """A lone tilt says nothing of how a level runs over the angle; nothing is made up for it."""
    parameters = detector_class("ultrasonic-400k").parameters
    pair = pair_at(parameters, CONDITIONS.mean_air(), gap_mm=(26.0,), tilt_deg=(20.0,))
    pair_group = PairGroup(row=Row(pairs=(pair,)), conditions=CONDITIONS, keep=np.array([0]))
    with pytest.raises(ValueError, match="lacks the tilts"):
        pair_group.flutter_variance(np.array([40.0]))


def test_a_search_goes_to_the_greatest_tilt():
    for c in reference_catalogue().classes:
        if c.principle == "ultrasonic":
            pair = pair_in_air(c.parameters, humid_air())
            beam = {"frequency_hz": c.parameters.frequency_hz, "face_radius_mm": c.parameters.face_radius_mm}
            assert np.max(pair.tilt_deg) == pytest.approx(greatest_tilt_deg(**beam))
            assert np.all(np.unique(pair.gap_mm).round(1) == np.unique(pair.gap_mm).round(9))
