"""Costs of recommendations as ratios in one run: medians of paired repetitions, processor time of this process.

One plane-wave solution of `pymls` for one plate is the unit. The ratio counts only because the levels behind the same
recommendation are held to converged quadrature in the same run, by the tests of the levels.
"""

from __future__ import annotations

import contextlib
import io
import time
from collections.abc import Callable
from statistics import median

import pytest
from mediapack import Elastic
from pymls import Layer, Solver, backing
from sheetmargin_service.detectors.catalogue import reference_catalogue
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.spec import LayerSpec, SheetSpec
from sheetmargin_service.selection.job import Job
from sheetmargin_service.selection.recommend import recommend

# A ratio of processor times is not steady on a machine that others share.
pytestmark = pytest.mark.long

PAPER = SheetSpec(material="copy-paper", grammage_gsm=80)
ULTRASONIC = ("ultrasonic",)
TIMES = 9


def _recommend(*sheets: SheetSpec) -> None:
    job = Job(sheets=sheets, principles=ULTRASONIC)
    recommend(job, catalogue=reference_catalogue(), library=load_library())


def _cost(work: Callable[[], None], repeat: int = 1) -> float:
    start = time.process_time()
    for _ in range(repeat):
        work()
    return (time.process_time() - start) / repeat


def _ratio(work: Callable[[], None], unit: Callable[[], None], *, units: int = 1, times: int = TIMES) -> float:
    """Median of `times` paired ratios, after one run of either."""
    work(), unit()
    return median(_cost(work) / _cost(unit, units) for _ in range(times))


ONE_SHEET_BEFORE_LISTS = 125
"""Plane-wave solutions that one sheet cost when lists were first served (median): the yardstick for ten sheets."""


@pytest.fixture(scope="module")
def solution() -> Callable[[], None]:
    """One plane-wave solution for one plate."""
    plate = Elastic(E=3.3e9, nu=0.38, rho=1380, eta=0.03)
    solver = Solver(layers=[Layer(plate, 1e-3)], backing=backing.transmission)

    def solve() -> None:
        with contextlib.redirect_stdout(io.StringIO()):
            solver.solve(200e3, 20.0)

    return solve


def test_a_recommendation_over_all_classes(
    solution: Callable[[], None], record_property: Callable[[str, object], None]
) -> None:
    ratio = _ratio(lambda: _recommend(PAPER), solution, units=40)
    record_property("plane_wave_solutions", round(ratio, 1))
    assert ratio <= 60.0


def test_a_sheet_of_five_layers(record_property: Callable[[str, object], None]) -> None:
    layered = SheetSpec(
        layers=(
            LayerSpec(material="pet", thickness_um=12),
            LayerSpec(material="adhesive-acrylic", thickness_um=5),
            LayerSpec(material="copy-paper", grammage_gsm=70),
            LayerSpec(material="adhesive-acrylic", thickness_um=20),
            LayerSpec(material="glassine", grammage_gsm=60),
        )
    )
    ratio = _ratio(lambda: _recommend(layered), lambda: _recommend(PAPER))
    record_property("layered_over_plain", round(ratio, 2))
    assert ratio <= 4.0


def test_a_list_of_ten_sheets(solution: Callable[[], None], record_property: Callable[[str, object], None]) -> None:
    sheets = [SheetSpec(material="copy-paper", grammage_gsm=60.0 + 10.0 * step) for step in range(10)]
    ratio = _ratio(lambda: _recommend(*sheets), solution, units=200, times=3)
    record_property("ten_sheets_in_plane_wave_solutions", round(ratio))
    assert ratio <= 8.0 * ONE_SHEET_BEFORE_LISTS
