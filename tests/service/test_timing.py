"""Timing against hand calculations and a sheet-by-sheet simulation."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheetmargin_service.selection.job import Controller, Line
from sheetmargin_service.selection.timing import Reading, shingled_stream, time_line

FAST = Line(speed_m_per_min=120.0, sheet_length_mm=420.0, sheet_spacing_mm=160.0)
SLOW = Line(speed_m_per_min=20.0, sheet_length_mm=420.0, sheet_spacing_mm=160.0)
CONTROLLER = Controller(scan_ms=10.0, input_filter_ms=3.0)
READING = Reading(interval_ms=1.0, response_ms=2.0, spot_mm=20.0)


def pointers(timing):
    return {note.pointer for note in timing.notes if note.pointer}


def codes(timing):
    return {note.code for note in timing.notes}


def test_worked_example():
    # 120 m/min is 2 mm/ms: (420 - 20)/2 = 200 ms of sheet, (160 - 20)/2 = 70 ms of space.
    timing = time_line(line=FAST, controller=CONTROLLER, reading=READING)
    assert timing.sheet_ms == pytest.approx(200.0)
    assert timing.space_ms == pytest.approx(70.0)
    assert (timing.readings_per_sheet, timing.readings_per_double, timing.readings_per_space) == (200, 200, 70)
    # A scan and a filter must see the output, 10 + 3 ms, and as long must be left of 70 ms to see it fall.
    assert timing.hold_min_ms == pytest.approx(13.0)
    assert timing.hold_max_ms == pytest.approx(57.0)
    assert timing.hold_ms == 20.0
    # 140 mm in 26 ms is 5.3846 m/s.
    assert timing.limit.code == "hold-masks-next-sheet"
    assert timing.speed_max_m_per_min == 323.0
    assert timing.fits is True
    assert timing.notes == ()


def test_a_hold_of_common_practice_is_too_long_for_a_fast_short_spaced_line_only():
    # Common practice, no source.
    usual_hold_ms = 120.0
    fast = time_line(line=FAST, controller=CONTROLLER, reading=READING)
    slow = time_line(line=SLOW, controller=CONTROLLER, reading=READING)
    assert fast.hold_max_ms < usual_hold_ms
    assert slow.hold_min_ms < usual_hold_ms < slow.hold_max_ms


def test_a_short_overlap_limits_first():
    # 30 mm of overlap less 20 mm of spot: 5 ms at 120 m/min; a response of 6 ms needs 10 mm in 6 ms, 100 m/min.
    timing = time_line(line=FAST, controller=CONTROLLER, reading=replace(READING, response_ms=6.0), overlap_mm=30.0)
    assert timing.readings_per_double == 5
    assert timing.limit.code == "overlap-too-short"
    assert timing.speed_max_m_per_min == pytest.approx(100.0)
    assert timing.fits is False


def test_turns_lengthen_interval_and_response():
    alone = time_line(line=FAST, controller=CONTROLLER, reading=READING)
    shared = time_line(line=FAST, controller=CONTROLLER, reading=replace(READING, turns=4))
    assert shared.reading_interval_ms == 4 * alone.reading_interval_ms
    assert shared.readings_per_sheet == alone.readings_per_sheet // 4
    tight = replace(FAST, sheet_length_mm=28.0)
    assert time_line(line=tight, controller=CONTROLLER, reading=READING).fits is True
    slowed = time_line(line=tight, controller=CONTROLLER, reading=replace(READING, turns=4))
    assert (slowed.limit.code, slowed.fits) == ("sheet-too-short", False)


def test_no_hold_serves_where_the_space_is_too_short():
    timing = time_line(line=replace(FAST, sheet_spacing_mm=60.0), controller=CONTROLLER, reading=READING)
    # 40 mm in 20 ms, less than 13 ms twice.
    assert timing.hold_max_ms == pytest.approx(7.0)
    assert timing.hold_ms is None
    assert (timing.limit.code, timing.fits) == ("hold-masks-next-sheet", False)


def test_a_space_within_the_spot_is_never_open():
    timing = time_line(line=replace(FAST, sheet_spacing_mm=15.0), controller=CONTROLLER, reading=READING)
    assert (timing.readings_per_space, timing.hold_max_ms, timing.speed_max_m_per_min) == (0, 0.0, 0.0)
    assert timing.fits is False


FIELDS = ["speed_m_per_min", "sheet_length_mm", "sheet_spacing_mm"]


@given(
    given_fields=st.sets(st.sampled_from(FIELDS)),
    scan=st.booleans(),
    input_filter=st.booleans(),
    feeding=st.sampled_from(["singulated", "shingled"]),
)
def test_every_absence_points_to_the_field_that_would_fill_it(given_fields, scan, input_filter, feeding):
    line = Line(feeding=feeding, **{name: getattr(FAST, name) for name in given_fields})
    controller = Controller(scan_ms=10.0 if scan else None, input_filter_ms=3.0 if input_filter else None)
    timing = time_line(line=line, controller=controller, reading=READING)
    missing = {f"/line/{name}" for name in set(FIELDS) - given_fields}
    missing |= set() if scan else {"/controller/scan_ms"}
    missing |= set() if input_filter else {"/controller/input_filter_ms"}
    assert pointers(timing) == missing
    assert (timing.fits is None) == bool(missing)
    known_controller = scan and input_filter
    assert (timing.hold_min_ms is not None) == known_controller
    assert (timing.readings_per_sheet is not None) == (
        {"speed_m_per_min", "sheet_length_mm"} <= given_fields
        and (feeding == "singulated" or "sheet_spacing_mm" in given_fields)
    )
    assert (timing.hold_max_ms is not None) == (
        known_controller and {"speed_m_per_min", "sheet_spacing_mm"} <= given_fields
    )


def test_a_known_failure_is_told_whatever_else_is_missing():
    short = Line(speed_m_per_min=120.0, sheet_length_mm=22.0)
    timing = time_line(line=short, controller=Controller(), reading=READING)
    assert (timing.fits, timing.limit.code) == (False, "sheet-too-short")


@given(
    length=st.floats(50, 600),
    spacing=st.floats(25, 400),
    speed=st.floats(5, 300),
    scan=st.floats(1, 30),
    input_filter=st.floats(0, 10),
)
def test_the_speed_limit_is_where_fits_turns(length, spacing, speed, scan, input_filter):
    line = Line(speed_m_per_min=speed, sheet_length_mm=length, sheet_spacing_mm=spacing)
    controller = Controller(scan_ms=scan, input_filter_ms=input_filter)
    timing = time_line(line=line, controller=controller, reading=READING)
    assert timing.fits == (speed <= timing.speed_max_m_per_min)
    at_limit = replace(line, speed_m_per_min=timing.speed_max_m_per_min)
    if timing.speed_max_m_per_min > 0:
        there = time_line(line=at_limit, controller=controller, reading=READING)
        assert there.fits
        assert there.hold_min_ms <= there.hold_ms <= there.hold_max_ms
        assert there.sheet_ms >= READING.response_ms
    if timing.hold_ms is not None:
        assert timing.hold_min_ms <= timing.hold_ms <= timing.hold_max_ms


@given(length=st.integers(50, 600), pitch=st.integers(20, 400))
def test_shingles_counted_one_by_one(length, pitch):
    stream = shingled_stream(sheet_length_mm=float(length), pitch_mm=float(pitch))
    # Sheets over each half millimetre of one pitch, far from the stream's start.
    places = 10_000 * pitch + np.arange(0.25, pitch, 0.5)
    leading = np.arange(10_000 - length // pitch - 2, 10_001) * pitch
    count = ((places[:, None] >= leading) & (places[:, None] < leading + length)).sum(axis=1)
    if length < pitch:
        assert stream is None
        return
    assert (stream.fewest, stream.most) == (count.min(), count.max())
    share = np.mean(count == stream.plies)
    assert share >= 0.5
    assert stream.phase_mm == pytest.approx(share * pitch)


def test_shingled_feeding_asks_n_against_n_plus_one():
    # 420 mm every 160 mm: 2 sheets over 60 mm of each pitch, 3 over the other 100 mm.
    line = replace(FAST, feeding="shingled")
    timing = time_line(line=line, controller=CONTROLLER, reading=READING)
    assert (timing.plies_fewest, timing.plies_most) == (2, 3)
    step = next(note for note in timing.notes if note.code == "read-in-step")
    assert (step.values["plies"], step.values["one_more"], step.values["phase_mm"]) == (3, 4, 100.0)
    assert timing.sheet_ms == pytest.approx(40.0)
    assert timing.space_ms is timing.readings_per_space is None
    assert timing.hold_max_ms == pytest.approx(80.0 - 13.0)
    assert timing.sheets_per_hour == pytest.approx(45_000.0)


def test_a_stream_that_does_not_overlap_is_no_stream():
    line = replace(FAST, feeding="shingled", sheet_spacing_mm=500.0)
    timing = time_line(line=line, controller=CONTROLLER, reading=READING)
    assert "shingles-do-not-overlap" in codes(timing)
    assert timing.fits is None
