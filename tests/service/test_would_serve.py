"""What of a job would have to change for a class to serve it."""

from __future__ import annotations

import pytest
from sheetmargin.contract.job import Controller, Job, Line, Sheet
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.selection.would_serve import would_serve

PAPER = (Sheet(material="copy-paper", grammage_gsm=80.0),)


@pytest.mark.parametrize(
    ("allowed", "tried"), [((10.0, 12.5, 3.0), [12.5]), ((0.0,), []), ((), [])], ids=["slower", "standing", "in time"]
)
def test_a_line_that_is_too_fast_is_tried_at_the_greatest_speed_that_is_allowed(
    allowed: tuple[float, ...], tried: list[float]
) -> None:
    asked: list[Job] = []
    why_not = [Fact(code="line-too-fast", values={"speed_max_m_per_min": speed}) for speed in allowed]
    job = Job(sheets=PAPER, line=Line(speed_m_per_min=40.0))
    assert would_serve(job, serves=asked.append, why_not=why_not) == ()
    assert [speed for one in asked if (speed := one.line.speed_m_per_min) != 40.0] == tried


def test_a_slow_controller_is_told_the_speed_that_it_allows_and_an_input_that_is_fast_enough() -> None:
    line = Line(speed_m_per_min=300.0, sheet_length_mm=210.0, sheet_spacing_mm=50.0)
    job = Job(sheets=PAPER, line=line, controller=Controller(scan_ms=50.0), classes=("ultrasonic-300k",))
    answer = recommend(job, catalogue=reference_catalogue(), library=load_library())
    assert answer.verdict == "unsuitable"
    told = {note.code: note.values for note in answer.would_serve}
    (limit,) = (fact.values for fact in answer.ruled_out if fact.code == "line-too-fast")
    assert told["would-serve-slower"]["speed_m_per_min"] == limit["speed_max_m_per_min"]
    assert told["would-serve-slower"]["verdict"] != "unsuitable"
    assert told["would-serve-read-at-once"]["verdict"] == "suitable"
