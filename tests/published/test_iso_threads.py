"""Housing threads against the tables of ISO 261, ISO 724 and ISO 273."""

import pytest
from sheetmargin_service.mounting.threads import metric_thread
from sheetmargin_service.principles.catalogues import reference_catalogue

# ISO 724:1993 table 1 as printed, rounded to 0.001 mm (read in a public copy): pitch diameter D2, minor diameter D1.
BASIC_DIMENSIONS = [
    ("M8", 1.0, 7.350, 6.917),
    ("M12", 1.0, 11.350, 10.917),
    ("M12", 1.5, 11.026, 10.376),
    ("M18", 1.0, 17.350, 16.917),
    ("M18", 1.5, 17.026, 16.376),
    ("M18", 2.0, 16.701, 15.835),
    ("M20", 1.5, 19.026, 18.376),
    ("M30", 1.5, 29.026, 28.376),
]
# Coarse pitches of ISO 261:1998 (read in a public table of the standard).
COARSE = {"M8": 1.25, "M10": 1.5, "M12": 1.75, "M16": 2.0, "M18": 2.5, "M20": 2.5, "M24": 3.0, "M30": 3.5, "M36": 4.0}
# ISO 273:1979, fine series (read in a public table of the standard).
CLEARANCE_HOLES = {"M8": 8.4, "M10": 10.5, "M12": 13.0, "M18": 19.0, "M24": 25.0, "M30": 31.0}


@pytest.mark.parametrize(("designation", "pitch_mm", "pitch_diameter_mm", "minor_mm"), BASIC_DIMENSIONS)
def test_basic_dimensions(designation, pitch_mm, pitch_diameter_mm, minor_mm):
    thread = metric_thread(designation=designation, pitch_mm=pitch_mm)
    assert thread.pitch_diameter_mm == pytest.approx(pitch_diameter_mm, abs=0.0005)
    assert thread.minor_mm == pytest.approx(minor_mm, abs=0.0005)


@pytest.mark.parametrize(("designation", "pitch_mm"), COARSE.items())
def test_no_pitch_is_the_coarse_one(designation, pitch_mm):
    assert metric_thread(designation=designation, pitch_mm=None).pitch_mm == pitch_mm


@pytest.mark.parametrize(("designation", "hole_mm"), CLEARANCE_HOLES.items())
def test_clearance_holes(designation, hole_mm):
    assert metric_thread(designation=designation, pitch_mm=None).hole_mm == hole_mm


@pytest.mark.parametrize(
    ("designation", "pitch_mm"), [("M18", 1.25), ("M13", 1.0), ("G1/2", None), ("rectangular", None)]
)
def test_what_the_general_plan_does_not_have(designation, pitch_mm):
    assert metric_thread(designation=designation, pitch_mm=pitch_mm) is None


def test_every_round_reference_housing_has_a_thread_of_the_plan():
    round_ones = [c.housing for c in reference_catalogue().classes if c.housing.thread != "rectangular"]
    assert round_ones
    for housing in round_ones:
        thread = metric_thread(designation=housing.thread, pitch_mm=housing.pitch_mm)
        assert thread is not None
        assert thread.major_mm == housing.width_mm
