"""A fit of 12 readings within the time of 40 recommendations, timed in one run."""

from __future__ import annotations

import pytest
from sheetmargin.contract.job import Job
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.recommend import recommend
from support.costs import Work, cost_s
from support.measurement_cases import fit, true_case

pytestmark = pytest.mark.long


def least_s(run: Work, *, times: int) -> float:
    """The shortest of some runs: what others do on the machine does not count."""
    return min(cost_s(run) for _ in range(times))


def test_a_fit_takes_less_than_forty_recommendations() -> None:
    spec, _, readings = true_case(0)
    assert len(readings) == 12
    job = Job(sheets=(spec,))

    def ask() -> object:
        return recommend(job, catalogue=reference_catalogue(), library=load_library())

    ask()
    fit(readings, spec)
    assert least_s(lambda: fit(readings, spec), times=2) < 40.0 * least_s(ask, times=5)
