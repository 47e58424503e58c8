"""Costs of recommendations as ratios in one run: medians of paired repetitions, processor time of this process.

One plane-wave solution of `pymls` for one plate is the unit. The ratio counts only because the levels behind the same
recommendation are held to converged quadrature in the same run, by the tests of the levels.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sheetmargin_service.detectors.catalogue import reference_catalogue
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.spec import LayerSpec, SheetSpec
from sheetmargin_service.selection.job import Job
from sheetmargin_service.selection.recommend import recommend
from support.costs import cost_s, plane_wave_solution, ratio

# A ratio of processor times is not steady on a machine that others share.
pytestmark = pytest.mark.long

PAPER = SheetSpec(material="copy-paper", grammage_gsm=80)
ULTRASONIC = ("ultrasonic",)
Record = Callable[[str, object], None]


def _recommend(*sheets: SheetSpec) -> None:
    job = Job(sheets=sheets, principles=ULTRASONIC)
    recommend(job, catalogue=reference_catalogue(), library=load_library())


ONE_SHEET_BEFORE_LISTS = 125
"""Plane-wave solutions that one sheet cost when lists were first served (median): the yardstick for ten sheets."""


def test_a_recommendation_over_all_classes(record_property: Record) -> None:
    cost = ratio(lambda: _recommend(PAPER), plane_wave_solution(), units=40)
    record_property("plane_wave_solutions", round(cost, 1))
    assert cost <= 60.0


def test_a_sheet_of_five_layers(record_property: Record) -> None:
    layered = SheetSpec(
        layers=(
            LayerSpec(material="pet", thickness_um=12),
            LayerSpec(material="adhesive-acrylic", thickness_um=5),
            LayerSpec(material="copy-paper", grammage_gsm=70),
            LayerSpec(material="adhesive-acrylic", thickness_um=20),
            LayerSpec(material="glassine", grammage_gsm=60),
        )
    )
    cost = ratio(lambda: _recommend(layered), lambda: _recommend(PAPER))
    record_property("layered_over_plain", round(cost, 2))
    assert cost <= 4.0


def _papers(count: int) -> list[SheetSpec]:
    return [SheetSpec(material="copy-paper", grammage_gsm=60.0 + 90.0 * step / count) for step in range(count)]


def test_a_list_of_ten_sheets(record_property: Record) -> None:
    cost = ratio(lambda: _recommend(*_papers(10)), plane_wave_solution(), units=200, times=5)
    record_property("ten_sheets_in_plane_wave_solutions", round(cost))
    assert cost <= 8.0 * ONE_SHEET_BEFORE_LISTS


def test_a_list_of_fifty_sheets(record_property: Record) -> None:
    cost = ratio(lambda: _recommend(*_papers(50)), lambda: _recommend(PAPER), units=5, times=3)
    record_property("fifty_sheets_over_one", round(cost, 1))
    assert cost <= 150.0


STOCK = {
    "copy-paper": (60, 70, 75, 80, 90, 100, 120, 160),
    "offset-paper": (80, 90, 115, 150),
    "coated-paper": (90, 115, 135, 150, 170, 200, 250),
    "kraft-paper": (50, 70, 90, 120),
    "newsprint": (42, 45, 49),
    "card-stock": (200, 250, 300),
    "folding-boxboard": (230, 280, 350),
    "coated-board": (250, 300, 350),
}
PLATES_UM = {
    "pet": (50, 100, 250),
    "pvc-rigid": (250, 500, 760),
    "bopp": (40, 60),
    "aluminium": (300, 1000),
    "steel": (800,),
    "abs": (1000,),
    "greyboard": (1500, 2000),
    "glass": (2000,),
}


def _stock() -> list[SheetSpec]:
    """Fifty sheets of a converter's stock: papers, boards, films and plates."""
    papers = [SheetSpec(material=m, grammage_gsm=float(g)) for m, each in STOCK.items() for g in each]
    plates = [SheetSpec(material=m, thickness_um=float(t)) for m, each in PLATES_UM.items() for t in each]
    return papers + plates


def test_fifty_sheets_of_stock(record_property: Record) -> None:
    """Over fifty papers asked together: at most 20 times. Its seconds are reported, against the ten of a request."""
    stock = _stock()
    assert len(stock) == 50
    _recommend(*_papers(50)), _recommend(PAPER)
    seconds = cost_s(lambda: _recommend(*stock))
    papers = cost_s(lambda: _recommend(*_papers(50)))
    record_property("fifty_sheets_of_stock_s", round(seconds, 1))
    record_property("stock_over_papers", round(seconds / papers, 1))
    assert seconds <= 20.0 * papers
