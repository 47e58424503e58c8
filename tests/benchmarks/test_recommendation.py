"""Costs of recommendations as ratios in one run: medians of paired repetitions, processor time of this process.

One plane-wave solution of `pymls` for one plate is the unit. Every sheet of the page on principles is asked with the
default call, over all classes: the median is what a user meets, the worst is told beside it. A ratio counts only
because the levels behind the same recommendations are held to converged quadrature, by the tests of the levels.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from functools import cache
from pathlib import Path
from statistics import median

import pytest
from sheetmargin.contract.job import Job, Layer, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.pair_group import sheet_levels
from sheetmargin_service.selection.recommend import recommend
from support.converter import plates, stock
from support.costs import Work, cost_s, plane_wave_solution, ratio

# A ratio of processor times is not steady on a machine that others share.
pytestmark = pytest.mark.long

Record = Callable[[str, object], None]
DOCS = Path(__file__).parents[2] / "docs"


@cache
def sheets() -> dict[str, SheetSpec]:
    """Those of docs/principles.md, and two plastic plates that have been dear."""
    spec = importlib.util.spec_from_file_location("principles_page", DOCS / "principles.py")
    assert spec is not None
    assert spec.loader is not None
    page = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(page)
    return page.SHEETS | {
        "PMMA, 3 mm": SheetSpec(material="pmma", thickness_um=3000),
        "FR4, 1.5 mm": SheetSpec(material="fr4", thickness_um=1500),
    }


def asked(*specs: SheetSpec, anew: bool = True, line: Line | None = None) -> Work:
    """The default call, of sheets that were not asked about before, unless not `anew`."""
    job = Job(sheets=specs) if line is None else Job(sheets=specs, line=line)

    def ask() -> None:
        if anew:
            sheet_levels.cache_clear()
        recommend(job, catalogue=reference_catalogue(), library=load_library())

    return ask


def record_spread(record_property: Record, name: str, costs: dict[str, float]) -> None:
    worst = max(costs, key=lambda sheet: costs[sheet])
    record_property(f"{name}_median", round(median(costs.values())))
    record_property(f"{name}_worst", round(costs[worst]))
    record_property(f"{name}_worst_is", worst)
    record_property(f"{name}_each", {sheet: round(cost) for sheet, cost in costs.items()})


AIM_MISSED = pytest.mark.xfail(strict=True, raises=AssertionError, reason="an aim that is missed: docs/benchmarks.md")


@AIM_MISSED
def test_the_default_call(record_property: Record) -> None:
    """All classes, as `sheetmargin recommend` and a GET ask it."""
    unit = plane_wave_solution()
    costs = {name: ratio(asked(spec), unit, units=40, times=5) for name, spec in sheets().items()}
    record_spread(record_property, "default_call", costs)
    assert median(costs.values()) <= 100.0
    assert max(costs.values()) <= 250.0


def test_the_same_sheet_on_another_line(record_property: Record) -> None:
    """As an engineer asks who tries speeds."""
    slow, fast = (Line(speed_m_per_min=speed) for speed in (60.0, 120.0))
    shares = []
    for spec in sheets().values():
        new, again = asked(spec, line=slow), asked(spec, anew=False, line=fast)
        shares.append(ratio(lambda new=new, again=again: (new(), again()), new, times=3) - 1.0)
    record_property("another_line_over_new", round(median(shares), 2))


QUESTION = {
    "line": {"speed_m_per_min": 100, "sheet_length_mm": 700, "flutter_mm": 2, "clearance_above_mm": 150},
    "limit": 3,
}


@AIM_MISSED
def test_the_selectors_resolved_job(record_property: Record) -> None:
    """One sheet with a line, through the whole service but the network; never the same question twice."""
    client = create_app(service=load_service(Settings())).test_client()
    unit = plane_wave_solution()
    turn = iter(range(1_000_000))

    def class_result(name: str) -> Work:
        def work() -> None:
            changed = 1.0 + 1e-5 * next(turn)
            spec = {field: value if field == "material" else changed * value for field, value in WIRE[name].items()}
            answer = client.post("/v1/recommendations", json={"sheets": [spec], **QUESTION})
            assert answer.status_code == 200, answer.text

        return work

    costs = {name: ratio(class_result(name), unit, units=40, times=5) for name in WIRE}
    record_spread(record_property, "selector", costs)
    assert median(costs.values()) <= 400.0


WIRE = {
    "copy paper, 80 g/m2": {"material": "copy-paper", "grammage_gsm": 80},
    "coated board, 300 g/m2": {"material": "coated-board", "grammage_gsm": 300},
    "PET film, 12 um": {"material": "pet", "thickness_um": 12},
    "rigid PVC, 0.76 mm": {"material": "pvc-rigid", "thickness_um": 760},
    "aluminium, 1 mm": {"material": "aluminium", "thickness_um": 1000},
    "steel, 1 mm": {"material": "steel", "thickness_um": 1000},
    "veneer, 0.6 mm": {"material": "veneer", "thickness_um": 600},
}


def test_a_sheet_of_five_layers(record_property: Record) -> None:
    layered = SheetSpec(
        layers=(
            Layer(material="pet", thickness_um=12),
            Layer(material="adhesive-acrylic", thickness_um=5),
            Layer(material="copy-paper", grammage_gsm=70),
            Layer(material="adhesive-acrylic", thickness_um=20),
            Layer(material="glassine", grammage_gsm=60),
        )
    )
    cost = ratio(asked(layered), asked(SheetSpec(material="copy-paper", grammage_gsm=80)))
    record_property("layered_over_plain", round(cost, 2))
    assert cost <= 4.0


@AIM_MISSED
def test_ten_sheets_of_stock(record_property: Record) -> None:
    """Every fifth of a converter's stock."""
    cost = ratio(asked(*stock()[::5]), plane_wave_solution(), units=200, times=3)
    record_property("ten_sheets_in_plane_wave_solutions", round(cost))
    assert cost <= 6000.0


def test_fifty_sheets_of_stock(record_property: Record) -> None:
    """In one list, against the ten seconds of a request."""
    specs = stock()
    assert len(specs) == 50
    cost = ratio(asked(*specs), plane_wave_solution(), units=400, times=1)
    record_property("fifty_sheets_in_plane_wave_solutions", round(cost))
    record_property("fifty_sheets_of_stock_s", round(cost_s(asked(*specs)), 1))


def test_fifty_plates(record_property: Record) -> None:
    """Metals, plastics, glass and greyboard alone, in one list."""
    specs = plates()
    assert len(specs) == 50
    seconds = cost_s(asked(*specs))
    record_property("fifty_plates_s", round(seconds, 1))
    record_property("fifty_plates_in_plane_wave_solutions", round(seconds / cost_s(plane_wave_solution(), 400)))
