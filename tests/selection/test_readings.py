"""How many readings a decision takes, and how many a sheet gives."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from sheetmargin_service.selection.misreads import Readings
from sheetmargin_service.selection.readings import readings_of
from support.principle_cases import detector_class


def timing(*, sheet: int | None = None, double: int | None = None, space: int | None = None) -> Any:
    return SimpleNamespace(readings_per_sheet=sheet, readings_per_double=double, readings_per_space=space)


@pytest.mark.parametrize(
    ("interval_ms", "response_ms", "run"), [(4.0, 12.0, 3), (4.0, 12.1, 4), (4.0, 4.0, 1), (4.0, 1.0, 1), (1.0, 7.0, 7)]
)
def test_a_decision_takes_the_readings_of_a_response(interval_ms: float, response_ms: float, run: int) -> None:
    """Where the line is not known, a sheet is read as often."""
    made = detector_class("ultrasonic-180k", reading_interval_ms=interval_ms, response_ms=response_ms)
    assert readings_of(made, timing()) == Readings(single=run, double=run, no_sheet=run, run=run)


def test_a_known_line_gives_its_own_readings() -> None:
    made = detector_class("ultrasonic-180k", reading_interval_ms=4.0, response_ms=12.0)
    found = readings_of(made, timing(sheet=20, double=5, space=0))
    assert found == Readings(single=20, double=5, no_sheet=0, run=3)
