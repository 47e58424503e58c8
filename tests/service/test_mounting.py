"""Mounting against brute force: points of rims, bodies and rays instead of formulas."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin.contract.job import Line
from sheetmargin.contract.mounting import Geometry, Window
from sheetmargin_service.acoustics.beam import open_path_coupling
from sheetmargin_service.detectors.model import Housing
from sheetmargin_service.mounting.crosstalk import least_pitch_mm, neighbour_level_db, turns
from sheetmargin_service.mounting.geometry import beam_edge_least_mm, beam_edge_most_mm, footprint_on_sheet, mount
from sheetmargin_service.mounting.space import TILT_STEP_DEG, MountingSpace
from sheetmargin_service.principles.sound_beam import SoundBeam

HOUSING = Housing(thread="M18", pitch_mm=1.0, length_mm=60.0, width_mm=18.0)
BEAM = SoundBeam(wavenumber_per_m=3288.0, face_radius_mm=7.0, absorption_db_per_m=7.0, bypass_db=96.0)
ROOMY = Line(clearance_above_mm=100.0, clearance_below_mm=100.0, edge_distance_mm=100.0)
MISFITS = {"no-room-above", "no-room-below", "rim-meets-sheet", "face-within-echo"}


def geometry(gap_mm=45.0, tilt_deg=0.0, *, gap=None, tilt=None):
    gap, tilt = gap or (gap_mm, gap_mm), tilt or (tilt_deg, tilt_deg)
    return Geometry(
        gap_mm=Window(nominal=gap_mm, min=gap[0], max=gap[1]),
        tilt_deg=Window(nominal=tilt_deg, min=tilt[0], max=tilt[1]),
    )


def place(line=ROOMY, *, flutter_mm=1.0, flutter_deg=1.0, sheet_mm=0.1, echo_mm=0.0):
    return MountingSpace(
        line=line,
        flutter_mm=flutter_mm,
        flutter_deg=flutter_deg,
        sheet_mm=sheet_mm,
        rim_mm=0.5 * HOUSING.width_mm,
        face_to_sheet_min_mm=echo_mm,
    )


def mounted(geometry_, place_=None, beam=BEAM):
    return mount(geometry=geometry_, housing=HOUSING, space=place_ or place(), beam=beam)


def codes(mounting):
    return {note.code for note in mounting.notes}


def rim_points(distance_mm, tilt_deg, radius_mm):
    """Points (N, 3) of a circle square to the axis, `distance_mm` above the sheet along it: x, y up, z across."""
    t, angle = np.radians(tilt_deg), np.linspace(0.0, 2.0 * np.pi, 721)
    axis, in_plane = np.array([np.sin(t), np.cos(t), 0.0]), np.array([np.cos(t), -np.sin(t), 0.0])
    across = np.array([0.0, 0.0, 1.0])
    return distance_mm * axis + radius_mm * (np.cos(angle)[:, None] * in_plane + np.sin(angle)[:, None] * across)


@given(gap=st.floats(20, 100), tilt=st.floats(0, 45))
def test_faces_are_a_gap_apart_on_an_axis_through_the_origin(gap, tilt):
    m = mounted(geometry(gap, tilt))
    e, r = (np.array([p.x_mm, p.y_mm]) for p in (m.emitter, m.receiver))
    axis = np.array([np.sin(np.radians(tilt)), np.cos(np.radians(tilt))])
    assert r - e == pytest.approx(gap * axis)
    assert e == pytest.approx(-m.emitter_to_sheet_mm * axis)
    rear = np.array([m.receiver_rear.x_mm, m.receiver_rear.y_mm])
    assert rear - r == pytest.approx(HOUSING.length_mm * axis)
    assert m.emitter.y_mm < 0 < m.receiver.y_mm
    assert m.emitter.x_mm <= 0 <= m.receiver.x_mm


@given(tilt=st.floats(0, 40), flutter_mm=st.floats(0, 3), flutter_deg=st.floats(0, 2), sheet_mm=st.floats(0, 3))
def test_rim_clears_a_double_in_flutter(tilt, flutter_mm, flutter_deg, sheet_mm):
    here = place(flutter_mm=flutter_mm, flutter_deg=flutter_deg, sheet_mm=sheet_mm)
    rim = rim_points(30.0, tilt, 9.0)
    # Twice the half widths: the sheet's upper face as a plane turned about the beam's point, a double sheet thick.
    surface = np.tan(np.radians(2 * flutter_deg)) * rim[:, 0] + 2 * flutter_mm + sheet_mm
    free = np.min(rim[:, 1] - surface)
    assert here.rim_to_sheet_mm(distance_mm=30.0, tilt_deg=tilt) == pytest.approx(free, abs=1e-3)
    least = here.least_mm(tilt_deg=tilt)
    assert here.rim_to_sheet_mm(distance_mm=least, tilt_deg=tilt) == pytest.approx(0.0, abs=1e-9)


@given(tilt=st.floats(0, 45), distance=st.floats(10, 60))
def test_room_that_the_rim_takes(tilt, distance):
    room = place().room(80.0, distance_mm=distance, tilt_deg=tilt)
    highest = rim_points(distance, tilt, 9.0)[:, 1].max()
    assert room.needed_mm == pytest.approx(highest, abs=1e-3)
    assert room.spare_mm == pytest.approx(80.0 - highest, abs=1e-3)


def test_worked_example():
    # 45 mm at 35 degrees, halfway: 22.5 sin 35 = 12.905, 22.5 cos 35 = 18.431; rim 9 sin 35 = 5.162.
    m = mounted(geometry(45.0, 35.0, gap=(40.0, 50.0), tilt=(25.0, 45.0)))
    assert (m.receiver.x_mm, m.receiver.y_mm) == pytest.approx((12.905, 18.431), abs=1e-3)
    assert m.above.needed_mm == pytest.approx(18.431 + 5.162, abs=1e-3)
    # The clamp grips the middle of the body, 22.5 + 30 mm from the sheet, and swings through 20 degrees.
    assert m.bracket.swing_radius_mm == pytest.approx(52.5)
    assert m.bracket.swing_arc_mm == pytest.approx(52.5 * np.pi / 9.0)
    assert m.bracket.swing_chord_mm == pytest.approx(2 * 52.5 * 0.173648, abs=1e-3)
    assert m.bracket.axial_travel_mm == pytest.approx(5.0)
    assert (m.bracket.thread, m.bracket.hole_mm) == ("M18x1", 19.0)
    assert m.footprint.shift_mm == pytest.approx(0.700, abs=1e-3)
    assert m.fits
    assert not codes(m) & MISFITS


@given(low=st.floats(0, 30), more=st.floats(0, 15), gap=st.floats(40, 60))
def test_envelope_holds_both_bodies_over_the_windows_and_no_more(low, more, gap):
    high = low + more
    m = mounted(geometry(gap, 0.5 * (low + high), gap=(gap - 5, gap + 5), tilt=(low, high)))
    swept = []
    middle = 0.5 * (low + high)
    for distance, tilts in ((gap / 2, np.linspace(low, high, 301)), (gap / 2 + 2.5, [middle])):
        t = np.radians(tilts)
        for along in (distance, distance + HOUSING.length_mm):
            for across in (-9.0, 9.0):
                swept.append(np.stack([along * np.sin(t) + across * np.cos(t), along * np.cos(t) - across * np.sin(t)]))
    x, y = np.concatenate(swept, axis=1)
    assert m.envelope.x_max_mm == pytest.approx(x.max(), abs=0.01)
    assert m.envelope.y_max_mm == pytest.approx(y.max(), abs=0.01)
    assert m.envelope.x_min_mm == pytest.approx(-m.envelope.x_max_mm)
    assert m.height_mm == pytest.approx(2 * m.envelope.y_max_mm)


@given(distance=st.floats(10, 80), tilt=st.floats(0, 45))
def test_footprint_is_where_the_rays_of_the_cone_meet_the_sheet(distance, tilt):
    face = rim_points(-distance, tilt, BEAM.face_radius_mm)
    t, half = np.radians(tilt), BEAM.half_angle_rad
    axis = np.array([np.sin(t), np.cos(t), 0.0])
    outwards = (face + distance * axis) / BEAM.face_radius_mm
    ray = np.cos(half) * axis + np.sin(half) * outwards
    hit = face - face[:, 1:2] / ray[:, 1:2] * ray
    spot = footprint_on_sheet(distance_mm=distance, tilt_deg=tilt, beam=BEAM, flutter_mm=1.0)
    assert spot.along_mm == pytest.approx(np.ptp(hit[:, 0]), rel=1e-4)
    assert spot.across_mm == pytest.approx(np.ptp(hit[:, 2]), rel=1e-4)
    assert spot.centre_x_mm == pytest.approx(0.5 * (hit[:, 0].max() + hit[:, 0].min()), abs=1e-3)


def test_sheet_leaves_the_middle_where_one_side_is_short():
    m = mounted(geometry(45.0), place(replace(ROOMY, clearance_above_mm=18.0)))
    assert m.fits
    assert m.receiver_to_sheet_mm == pytest.approx(18.0)
    assert m.emitter_to_sheet_mm == pytest.approx(27.0)
    assert "sheet-off-middle" in codes(m)
    # A gate that needs 20 mm leaves no such place.
    m = mounted(geometry(45.0), place(replace(ROOMY, clearance_above_mm=18.0), echo_mm=20.0))
    assert not m.fits
    assert "no-room-above" in codes(m)


@settings(max_examples=200)
@given(
    above=st.floats(5, 60),
    below=st.floats(5, 60),
    gap=st.floats(15, 100),
    tilt=st.floats(0, 45),
    echo=st.floats(0, 30),
    flutter=st.floats(0, 4),
)
def test_a_pair_fits_or_something_is_named_as_short(above, below, gap, tilt, echo, flutter):
    line = Line(clearance_above_mm=above, clearance_below_mm=below)
    m = mounted(geometry(gap, tilt), place(line, echo_mm=echo, flutter_mm=flutter))
    assert m.fits == (not codes(m) & MISFITS)
    if m.fits:
        slack = -1e-9
        assert min(m.above.spare_mm, m.below.spare_mm, m.rim_to_sheet_mm) >= slack
        assert min(m.emitter_to_sheet_mm, m.receiver_to_sheet_mm) >= echo + slack


def test_windows_are_cut_to_the_clearances_and_what_is_left_fits():
    line = Line(clearance_above_mm=30.0, clearance_below_mm=28.0)
    here = place(line)
    m = mounted(geometry(50.0, 30.0, gap=(10.0, 90.0), tilt=(0.0, 45.0)), here)
    assert "window-cut" in codes(m)
    assert m.gap_mm.min > 10.0
    assert m.gap_mm.max < 90.0
    for end, outwards in ((m.gap_mm.min, -0.15), (m.gap_mm.max, 0.15)):
        assert here.emitter_distance_mm(gap_mm=end, tilt_deg=30.0) is not None
        assert here.emitter_distance_mm(gap_mm=end + outwards, tilt_deg=30.0) is None


def test_tilt_is_cut_where_the_rim_would_leave_the_clearance():
    # 40 cos t + 9 sin t = 41 cos(t - 12.68 deg) = 38 at t = 34.73 degrees; upright the pair is too tall.
    m = mounted(geometry(80.0, 40.0, tilt=(0.0, 45.0)), place(Line(clearance_above_mm=38.0, clearance_below_mm=38.0)))
    assert 34.73 <= m.tilt_deg.min <= 34.73 + TILT_STEP_DEG
    assert m.tilt_deg.max == 45.0


def test_unknown_fields_are_named_and_nothing_is_guessed():
    m = mounted(geometry(), place(Line(lanes=3)))
    pointers = {note.code: note.values["pointer"] for note in m.notes if "pointer" in note.values}
    assert pointers == {
        "clearance-unknown": "/line/clearance_below_mm",
        "edge-unknown": "/line/edge_distance_mm",
        "lane-pitch-unknown": "/line/lane_pitch_mm",
    }
    assert m.above.spare_mm is None
    assert m.distances.edge_mm is None
    assert m.neighbours.time_slots == 3


def test_edge_and_rollers_keep_clear_of_footprint_and_flutter():
    near = mounted(geometry(45.0, 30.0), place(replace(ROOMY, edge_distance_mm=8.0), flutter_mm=1.5))
    assert "edge-too-near" in codes(near)
    assert near.distances.edge_least_mm == pytest.approx(0.5 * near.footprint.across_mm + 3.0)
    far = mounted(geometry(45.0, 30.0), place(replace(ROOMY, edge_distance_mm=20.0), flutter_mm=1.5))
    assert "edge-too-near" not in codes(far)
    # 22.5 sin 30 + 9 cos 30 = 19.044 to the front edge of a head, 2 * 1.5 tan 30 = 1.732 of flutter.
    assert far.distances.roller_least_mm == pytest.approx(19.044 + 1.732, abs=1e-3)


def test_a_principle_without_beam_or_tilt():
    upright = Geometry(gap_mm=Window(nominal=20.0, min=18.0, max=22.0), tilt_deg=None)
    m = mounted(upright, beam=None)
    assert m.footprint is m.distances is m.neighbours is m.tilt_deg is None
    assert m.bracket.swing_arc_mm == 0.0


def test_a_rectangular_housing_has_no_tabled_hole():
    housing = Housing(thread="rectangular", pitch_mm=None, length_mm=55.0, width_mm=40.0)
    m = mount(geometry=geometry(100.0), housing=housing, space=replace(place(), rim_mm=20.0), beam=None)
    assert m.bracket.hole_mm is None
    assert "no-tabled-thread" in codes(m)


@pytest.mark.parametrize(
    ("wavenumber", "radius", "gap"), [(3288.0, 7.0, 45.0), (2192.0, 12.5, 70.0), (7306.0, 4.0, 25.0)]
)
def test_neighbours_level_is_an_upper_bound_of_the_beam_integral(wavenumber, radius, gap):
    beam = SoundBeam(wavenumber_per_m=wavenumber, face_radius_mm=radius, absorption_db_per_m=0.0, bypass_db=90.0)
    own = abs(open_path_coupling(wavenumber_per_m=wavenumber, radius_m=1e-3 * radius, gap_m=1e-3 * gap))
    for pitch in (2.0 * gap, 3.0 * gap, 5.0 * gap):
        around = 1e-3 * np.linspace(pitch - 2.0, pitch + 2.0, 41)
        heard = open_path_coupling(
            wavenumber_per_m=wavenumber, radius_m=1e-3 * radius, gap_m=1e-3 * gap, offset_m=around
        )
        exact_db = 20.0 * np.log10(np.abs(heard).max() / own)
        bound_db = neighbour_level_db(pitch_mm=pitch - 2.0, gap_mm=gap, beam=beam, neighbours=1)
        assert exact_db <= bound_db + 0.5


def test_least_pitch_brings_neighbours_down_to_the_bypass():
    for count in (1, 2):
        pitch = least_pitch_mm(gap_mm=45.0, beam=BEAM, body_diameter_mm=18.0, neighbours=count)
        level = neighbour_level_db(pitch_mm=pitch, gap_mm=45.0, beam=BEAM, neighbours=count)
        assert level == pytest.approx(-BEAM.bypass_db, abs=0.01)
    loud = replace(BEAM, bypass_db=20.0)
    assert least_pitch_mm(gap_mm=45.0, beam=loud, body_diameter_mm=18.0, neighbours=1) == 18.0


@pytest.mark.parametrize(
    ("lanes", "pitch", "expected"),
    [(1, None, 1), (4, None, 4), (4, 300.0, 1), (4, 150.0, 2), (4, 99.0, 4), (2, 50.0, 2)],
)
def test_lanes_take_turns_until_those_that_sound_together_stand_apart(lanes, pitch, expected):
    assert turns(lanes=lanes, pitch_mm=pitch, least_mm=300.0) == expected


@given(
    gaps_mm=st.tuples(st.floats(5.0, 200.0), st.floats(5.0, 200.0)),
    tilts_deg=st.tuples(st.floats(0.0, 60.0), st.floats(0.0, 60.0)),
    flutter_mm=st.floats(0.0, 4.0),
)
def test_no_smaller_gap_and_tilt_needs_more_of_the_sheet(gaps_mm, tilts_deg, flutter_mm):
    space = place(ROOMY, flutter_mm=flutter_mm)
    most = beam_edge_most_mm(gap_mm=max(gaps_mm), tilt_deg=max(tilts_deg), space=space, beam=BEAM)
    for gap_mm in gaps_mm:
        for tilt_deg in tilts_deg:
            assert beam_edge_least_mm(gap_mm=gap_mm, tilt_deg=tilt_deg, space=space, beam=BEAM) <= most + 1e-9
