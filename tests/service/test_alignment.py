"""Alignment limits as the answer tells them, against the beam's own losses and a rule of acoustics texts."""

import numpy as np
import pytest
from sheetmargin_service.acoustics.beam import offset_loss_db, turn_loss_db
from sheetmargin_service.mounting.alignment import align
from sheetmargin_service.principles.sound_beam import SoundBeam

# A radius of 7 mm at 180 kHz in air of 344 m/s: k a = 23.
BEAM = SoundBeam(wavenumber_per_m=3288.0, face_radius_mm=7.0, absorption_db_per_m=7.0, bypass_db=96.0)


@pytest.mark.parametrize("gap_mm", [20.0, 45.0, 60.0])
def test_limits_cost_what_they_say(gap_mm):
    alignment = align(gap_mm=gap_mm, tilt_deg=0.0, beam=BEAM)
    place = {"wavenumber_per_m": BEAM.wavenumber_per_m, "radius_m": 7e-3, "gap_m": 1e-3 * gap_mm}
    offsets = 1e-3 * np.array([alignment.lateral_mm_1db, alignment.lateral_mm_3db])
    assert offset_loss_db(offset_m=offsets, **place) == pytest.approx([1.0, 3.0], abs=0.02)
    angles = np.radians([alignment.angle_deg_1db, alignment.angle_deg_3db])
    assert turn_loss_db(angle_rad=angles, **place) == pytest.approx([1.0, 3.0], abs=0.02)


def test_far_away_an_angle_costs_the_directivity_of_one_face():
    """Far field: the turned face's directivity alone counts, 3 dB at sin = 1.616/(k a) (Kinsler et al., chapter 7)."""
    alignment = align(gap_mm=2000.0, tilt_deg=0.0, beam=BEAM)
    assert alignment.angle_deg_3db == pytest.approx(np.degrees(np.arcsin(1.616 / 23.016)), rel=0.01)


def test_the_order_of_a_degree_and_a_few_millimetres():
    alignment = align(gap_mm=45.0, tilt_deg=35.0, beam=BEAM)
    assert 0.5 < alignment.angle_deg_1db < alignment.angle_deg_3db < 10.0
    assert 1.0 < alignment.lateral_mm_1db < alignment.lateral_mm_3db < 15.0


def test_steps_begin_locked_out_and_state_the_limits():
    alignment = align(gap_mm=45.0, tilt_deg=35.0, beam=BEAM)
    assert alignment.steps[0].code == "align-locked-out"
    steps = {note.code: note.values for note in alignment.steps}
    assert steps["align-set"] == {"gap_mm": 45.0, "tilt_deg": 35.0}
    assert steps["align-sideways"]["lateral_mm"] == alignment.lateral_mm_3db
    assert steps["align-turn"]["angle_deg"] == alignment.angle_deg_3db
    assert steps["align-lock"]["lateral_mm"] == alignment.lateral_mm_1db
