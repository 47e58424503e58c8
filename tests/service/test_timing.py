"""Timing against hand calculations and a sheet-by-sheet simulation."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheetmargin.contract.job import Controller, Line
from sheetmargin_service.mounting.stream import stream_of
from sheetmargin_service.mounting.timing import Assumed, Reading, doubt_by_timing, time_line, verdict_of_doubt

FAST = Line(speed_m_per_min=120.0, sheet_length_mm=420.0, sheet_spacing_mm=160.0)
SLOW = Line(speed_m_per_min=20.0, sheet_length_mm=420.0, sheet_spacing_mm=160.0)
CONTROLLER = Controller(scan_ms=10.0, input_filter_ms=3.0)
READING = Reading(interval_ms=1.0, response_ms=2.0, spot_mm=20.0)


def pointers(timing):
    return {note.values["pointer"] for note in timing.notes if "pointer" in note.values}


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


FIELDS = ["speed_m_per_min", "sheet_length_mm", "sheet_spacing_mm", "shingle_pitch_mm"]
STREAM = replace(FAST, feeding="shingled", sheet_spacing_mm=None, shingle_pitch_mm=160.0)


@given(
    given_fields=st.sets(st.sampled_from(FIELDS)),
    scan=st.booleans(),
    input_filter=st.booleans(),
    feeding=st.sampled_from(["singulated", "shingled"]),
)
def test_every_absence_points_to_the_field_that_would_fill_it(given_fields, scan, input_filter, feeding):
    every = replace(FAST, shingle_pitch_mm=160.0)
    line = Line(feeding=feeding, **{name: getattr(every, name) for name in given_fields})
    controller = Controller(scan_ms=10.0 if scan else None, input_filter_ms=3.0 if input_filter else None)
    timing = time_line(line=line, controller=controller, reading=READING)
    between = "shingle_pitch_mm" if feeding == "shingled" else "sheet_spacing_mm"
    needed = {"speed_m_per_min", "sheet_length_mm", between}
    missing = {f"/line/{name}" for name in needed - given_fields}
    missing |= set() if scan else {"/controller/scan_ms"}
    missing |= set() if input_filter else {"/controller/input_filter_ms"}
    assert {note.values["pointer"] for note in timing.notes if note.code == "not-given"} == missing
    assert (timing.fits is None) == bool(missing)
    known_controller = scan and input_filter
    assert (timing.hold_min_ms is not None) == known_controller
    known_sheet = {"speed_m_per_min", "sheet_length_mm"} <= given_fields
    if feeding == "singulated":
        assert (timing.readings_per_sheet is not None) == known_sheet
        assert (timing.hold_max_ms is not None) == (known_controller and {"speed_m_per_min", between} <= given_fields)
    else:
        known_stream = known_sheet and between in given_fields
        assert (timing.readings_per_sheet is not None) == known_stream
        assert (timing.hold_max_ms is not None) == (known_controller and known_stream)


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
    stream = stream_of(replace(STREAM, sheet_length_mm=float(length), shingle_pitch_mm=float(pitch)))
    if pitch > length:
        assert stream is None
        return
    # Sheets over each half millimetre of one pitch, far from the stream's start.
    places = 10_000 * pitch + np.arange(0.25, pitch, 0.5)
    leading = np.arange(10_000 - length // pitch - 2, 10_001) * pitch
    count = ((places[:, None] >= leading) & (places[:, None] < leading + length)).sum(axis=1)
    assert (stream.fewest, stream.most) == (count.min(), count.max())
    assert set(stream.counts) == set(count.tolist())
    assert np.mean(count == stream.counts[0]) >= 0.5
    # A second sheet on the one that starts at 0: where one more lies there than is ever right.
    every = np.arange(0.25, length, 0.5)
    around = np.arange(-(length // pitch) - 1, length // pitch + 2) * pitch
    doubled = 1 + ((every[:, None] >= around) & (every[:, None] < around + length)).sum(axis=1)
    assert doubled.max() == stream.most + 1
    first = np.flatnonzero(doubled == stream.most + 1)
    run = first[: np.flatnonzero(np.append(np.diff(first), 2) > 1)[0] + 1]
    assert 0.5 * len(run) == pytest.approx(stream.double_mm)


@pytest.mark.parametrize(("length", "pitch"), [(0.3, 0.1), (420.0, 140.0), (2.1, 0.7)])
def test_a_whole_number_of_pitches_is_steady_whatever_is_rounded(length, pitch):
    stream = stream_of(replace(STREAM, sheet_length_mm=length, shingle_pitch_mm=pitch))
    assert stream.counts == (3,)
    assert stream.double_mm == length


def test_shingled_feeding_asks_n_against_n_plus_one():
    # 420 mm every 160 mm: 2 sheets over 60 mm of each pitch, 3 over the other 100 mm, of which 20 mm is the spot.
    timing = time_line(line=STREAM, controller=CONTROLLER, reading=READING)
    assert (timing.plies_fewest, timing.plies_most) == (2, 3)
    told = next(note for note in timing.notes if note.code == "stream-alternates")
    assert (told.values["fewest"], told.values["most"], told.values["one_more"]) == (2, 3, 4)
    assert told.values["double_mm"] == pytest.approx(420.0 - 2 * 160.0)
    assert told.values["double_ms"] == pytest.approx(50.0)
    assert timing.sheet_ms == pytest.approx(80.0)
    assert timing.readings_per_double == 40
    assert timing.space_ms is timing.readings_per_space is None
    assert timing.hold_max_ms == pytest.approx(80.0 - 13.0)
    assert timing.sheets_per_hour == pytest.approx(45_000.0)
    assert timing.fits is True
    # The first sheet lies alone over one pitch; then there are two, once the spot is past the edge.
    ends = next(note for note in timing.notes if note.code == "blank-stream-ends")
    assert ends.values["blank_mm"] == pytest.approx(160.0 + 20.0)


def test_the_space_between_sheets_says_nothing_of_a_stream():
    timing = time_line(line=STREAM, controller=CONTROLLER, reading=READING)
    assert time_line(line=replace(STREAM, sheet_spacing_mm=7.0), controller=CONTROLLER, reading=READING) == timing


def test_a_lap_shorter_than_a_run_of_readings_is_no():
    # 325 mm every 160 mm: the third sheet lies there for 5 mm, within the spot; for 22 mm it is out of it for 2 mm.
    within = time_line(line=replace(STREAM, sheet_length_mm=325.0), controller=CONTROLLER, reading=READING)
    assert (within.limit.code, within.fits, within.readings_per_double) == ("lap-too-short", False, 0)
    short = replace(STREAM, sheet_length_mm=342.0)
    assert time_line(line=short, controller=CONTROLLER, reading=READING).fits is False
    assert time_line(line=replace(short, speed_m_per_min=50.0), controller=CONTROLLER, reading=READING).fits is True
    # Within the spot no speed serves, so that none need be known.
    unknown = replace(STREAM, sheet_length_mm=325.0, speed_m_per_min=None)
    assert time_line(line=unknown, controller=Controller(), reading=READING).fits is False


def test_a_stream_that_does_not_overlap_is_of_single_sheets():
    timing = time_line(line=replace(STREAM, shingle_pitch_mm=580.0), controller=CONTROLLER, reading=READING)
    assert codes(timing) == {"shingles-do-not-overlap"}
    alone = time_line(line=FAST, controller=CONTROLLER, reading=READING)
    assert replace(timing, notes=()) == alone


def test_a_pitch_of_sheets_that_come_one_by_one_is_told_as_unused():
    line = replace(FAST, feeding="singulated", shingle_pitch_mm=160.0)
    timing = time_line(line=line, controller=CONTROLLER, reading=READING)
    assert pointers(timing) == {"/line/shingle_pitch_mm"}
    assert timing.fits is True


def test_a_whole_number_of_pitches_rests_on_the_pitch():
    """At 480 mm every 160 three lie there and four are a double; at 159.9 four are right as well, for 0.3 mm."""
    whole = time_line(line=replace(STREAM, sheet_length_mm=480.0), controller=CONTROLLER, reading=READING)
    less = replace(STREAM, sheet_length_mm=480.0, shingle_pitch_mm=159.9)
    assert (whole.plies_fewest, whole.plies_most, whole.fits) == (3, 3, True)
    assert doubt_by_timing(whole, speed_m_per_min=120.0) == "pitch-must-hold"
    assert verdict_of(whole, speed_m_per_min=120.0) == "trial-needed"
    assert time_line(line=less, controller=CONTROLLER, reading=READING).fits is False


# ---- what is given, and what is taken


def verdict_of(timing, *, speed_m_per_min):
    return verdict_of_doubt(doubt_by_timing(timing, speed_m_per_min=speed_m_per_min))


TYPICAL = Controller(scan_ms=10.0, input_filter_ms=3.0)


def timed(line, controller, *, taken=TYPICAL):
    assumed = Assumed(
        line=line,
        controller=Controller(
            scan_ms=controller.scan_ms or taken.scan_ms,
            input_filter_ms=controller.input_filter_ms or taken.input_filter_ms,
        ),
    )
    return time_line(line=line, controller=controller, reading=READING, assumed=assumed)


def test_a_scan_that_is_given_decides_without_the_rest():
    slow = timed(FAST, Controller(scan_ms=500.0))
    assert (slow.fits, slow.limit.code) == (False, "hold-masks-next-sheet")
    assert verdict_of(slow, speed_m_per_min=120.0) == "unsuitable"
    # The limit is told by what is given alone: 140 mm in 2 x 500 ms.
    assert slow.limit.values["needed_ms"] == pytest.approx(1000.0)


def test_what_is_taken_makes_a_set_up_doubtful_and_no_more():
    near = replace(FAST, sheet_spacing_mm=60.0)
    # 40 mm in 20 ms: less than 2 x 13 ms as taken, more than nothing as given.
    timing = timed(near, Controller())
    assert timing.fits is None
    assert (timing.limit.code, timing.speed_max_m_per_min) == ("hold-masks-next-sheet", 92.3)
    assert verdict_of(timing, speed_m_per_min=120.0) == "trial-needed"
    assert verdict_of(timed(near, Controller(scan_ms=2.0)), speed_m_per_min=120.0) == "suitable"
    assert verdict_of(timed(near, TYPICAL), speed_m_per_min=120.0) == "unsuitable"


def test_the_hold_is_told_by_what_is_taken():
    timing = timed(FAST, Controller())
    assert (timing.hold_min_ms, timing.hold_ms) == (13.0, 20.0)
    assert timing.fits is True
