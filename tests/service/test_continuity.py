"""Levels run without a step over every input that is a number."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from sheetmargin.contract.job import Double, Environment, Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.measure import InstalledSetup
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.measurement.predict import resolved_job_of
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.class_result import distributions_at
from sheetmargin_service.selection.configured_pair import build_configured_pair
from sheetmargin_service.selection.installation import class_of
from sheetmargin_service.selection.installed_class import choice_of, class_result_at
from support.continuity import step_in

STEP_DB = 0.05
LEAST_DB = 0.1 * STEP_DB
PAPER: dict[str, Any] = {"material": "copy-paper", "grammage_gsm": 80}
BOARD: dict[str, Any] = {"material": "coated-board", "grammage_gsm": 250}
PLACES: dict[str, tuple[dict[str, Any], dict[str, float]]] = {
    "ultrasonic-400k": (PAPER, {"gap_mm": 26.1, "tilt_deg": 11.0}),
    "ultrasonic-220k-continuous": (BOARD, {"gap_mm": 40.1, "tilt_deg": 11.0}),
    "optical-850": (PAPER, {"gap_mm": 40.1}),
    "thickness-laser": (PAPER, {"gap_mm": 60.0}),
}


def levels(
    name: str,
    sheet: dict[str, Any],
    place: dict[str, float],
    *,
    line: Line | None = None,
    air: Environment | None = None,
) -> np.ndarray:
    """Every percentile of every state as an answer tells them, before they are rounded."""
    job = Job(sheets=(SheetSpec(**sheet),), line=line or Line(), environment=air or Environment())
    resolved_job, _ = resolved_job_of(job, reference_catalogue(), load_library())
    setup = InstalledSetup(detector_class=name, **place)
    class_result = class_result_at(resolved_job, class_of(name, reference_catalogue(), field=""), setup, field="")
    (distributions,) = distributions_at([(class_result, 0, [0])])
    choice = choice_of(setup, tilts=class_result.class_model.settings.tilts)
    signal_table = build_configured_pair(class_result, 0, distributions, choice=choice).served[0].signal_table
    spans = (signal_table.no_sheet, signal_table.single, signal_table.double)
    return np.array([float(p[0]) for span in spans for p in (span.p1, span.p50, span.p99)])


Read = Callable[[str, float], np.ndarray]


def of_place(field: str) -> Read:
    return lambda name, x: levels(name, PLACES[name][0], PLACES[name][1] | {field: x})


def of_sheet(field: str) -> Read:
    return lambda name, x: levels(name, PLACES[name][0] | {field: x}, PLACES[name][1])


def of_line(field: str) -> Read:
    return lambda name, x: levels(name, *PLACES[name], line=Line(**{field: x}))


def of_air(field: str, **others: float) -> Read:
    return lambda name, x: levels(name, *PLACES[name], air=Environment(**others, **{field: x}))


def of_mass(name: str, x: float) -> np.ndarray:
    return of_sheet("grammage_gsm")(name, x * PLACES[name][0]["grammage_gsm"])


def of_overlap(name: str, x: float) -> np.ndarray:
    return of_sheet("double")(name, Double(overlap_mm=x))  # type: ignore[arg-type]


INPUTS: dict[str, tuple[Read, float, float]] = {
    "grammage": (of_mass, 0.75, 1.25),
    "grammage tolerance": (of_sheet("grammage_tolerance_pct"), 0.0, 10.0),
    "thickness tolerance": (of_sheet("thickness_tolerance_pct"), 0.0, 10.0),
    "permeance": (of_sheet("air_permeance_um_per_pa_s"), 1e-4, 20.0),
    "overlap": (of_overlap, 0.1, 30.0),
    "flutter": (of_line("flutter_mm"), 0.0, 4.0),
    "lean": (of_line("flutter_deg"), 0.0, 5.0),
    "temperature": (of_air("temperature_min_c", temperature_max_c=30.0), 5.0, 30.0),
    "humidity": (of_air("relative_humidity_min_pct", relative_humidity_max_pct=70.0), 0.0, 70.0),
    "pressure": (of_air("pressure_kpa"), 80.0, 105.0),
}
SOUND = tuple(name for name in PLACES if name.startswith("ultrasonic"))


@pytest.mark.parametrize("name", PLACES)
@pytest.mark.parametrize("of", INPUTS)
def test_no_step_over_an_input(name: str, of: str) -> None:
    read, low, high = INPUTS[of]
    assert step_in(lambda x: read(name, x), low, high, least=LEAST_DB, parts=12) < STEP_DB


@pytest.mark.parametrize("name", SOUND)
def test_no_step_over_the_place(name: str) -> None:
    """At gaps the floors move past the grid of levels with the open path; at tilts slopes follow curvature."""
    least = class_of(name, reference_catalogue(), field="").parameters.gap_min_mm
    assert step_in(lambda x: of_place("gap_mm")(name, x), least, least + 20.0, least=LEAST_DB) < STEP_DB
    assert step_in(lambda x: of_place("tilt_deg")(name, x), 0.0, 55.0, least=LEAST_DB) < STEP_DB


@pytest.mark.parametrize("of", ["grammage tolerance", "thickness tolerance", "flutter", "lean", "humidity"])
@pytest.mark.parametrize("name", PLACES)
def test_nothing_is_as_good_as_zero(name: str, of: str) -> None:
    read, _, _ = INPUTS[of]
    assert read(name, 1e-12) == pytest.approx(read(name, 0.0), abs=STEP_DB)


@pytest.mark.parametrize("name", SOUND)
def test_no_tilt_is_as_good_as_square_on(name: str) -> None:
    read = of_place("tilt_deg")
    assert read(name, 1e-12) == pytest.approx(read(name, 0.0), abs=STEP_DB)
    assert np.abs(read(name, 5e-4) - read(name, 0.0)).max() < STEP_DB


def test_a_step_is_found() -> None:
    """What the tests above rest on."""
    assert step_in(lambda x: np.array([x, float(x > 0.3)]), 0.0, 1.0, least=0.1) == pytest.approx(1.0, abs=1e-3)
    assert step_in(lambda x: np.array([x**3]), 0.0, 10.0, least=1e-4) < 1e-3
