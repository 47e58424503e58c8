"""What is noted beside an answer."""

from __future__ import annotations

import pytest
from sheetmargin.contract.job import Line
from sheetmargin_service.selection.notes import _room_counts


@pytest.mark.parametrize(
    ("line", "counts"),
    [
        (Line(), False),
        (Line(clearance_above_mm=60), True),
        (Line(clearance_below_mm=60), True),
        (Line(clearance_above_mm=60, clearance_below_mm=60), True),
        (Line(body_through_frame=True), False),
        (Line(clearance_above_mm=60, clearance_below_mm=60, body_through_frame=True), False),
    ],
)
def test_room_counts_where_a_clearance_is_known_and_bodies_stay_within_it(line: Line, counts: bool) -> None:
    assert _room_counts(line) is counts
