"""What of a job would have to change for a class to serve it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheetmargin.contract.job import Job, Line, Sheet
from sheetmargin_service.selection.would_serve import would_serve


@pytest.mark.parametrize(("speed_m_per_min", "tried"), [(40.0, [10.0]), (0.5, [0.1]), (0.004, [])])
def test_a_slower_line_still_runs(speed_m_per_min: float, tried: list[float]) -> None:
    """A quarter of the speed as it is told, to a tenth; no line that stands."""
    asked: list[Job] = []
    job = Job(sheets=(Sheet(material="copy-paper", grammage_gsm=80.0),))
    job = replace(job, line=Line(speed_m_per_min=speed_m_per_min))
    assert would_serve(job, rank=lambda changed: asked.append(changed) or []) == ()
    assert [speed for one in asked if (speed := one.line.speed_m_per_min) != speed_m_per_min] == tried
