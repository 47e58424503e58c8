"""Sheets per hour by the units alone."""

import pytest
from sheetmargin.contract.job import Controller, Line
from sheetmargin_service.mounting.timing import Reading, time_line

READING = Reading(interval_ms=1.0, response_ms=2.0, spot_mm=20.0)


# Worked by hand: 1 m/min is 60,000 mm in an hour, shared out in pitches.
@pytest.mark.parametrize(
    ("speed_m_per_min", "length_mm", "spacing_mm", "expected"),
    [
        (120.0, 420.0, 160.0, 7_200_000 / 580),  # 12,414 in an hour
        (100.0, 300.0, 100.0, 15_000.0),
        (250.0, 740.0, 260.0, 15_000.0),  # a pitch of one metre: 250 a minute
        (60.0, 297.0, 3.0, 12_000.0),
    ],
)
def test_sheets_per_hour(speed_m_per_min, length_mm, spacing_mm, expected):
    line = Line(speed_m_per_min=speed_m_per_min, sheet_length_mm=length_mm, sheet_spacing_mm=spacing_mm)
    timing = time_line(line=line, controller=Controller(), reading=READING)
    assert timing.sheets_per_hour == pytest.approx(expected)
