"""Sheets, conditions and benches for the tests of the sensing principles."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import ClassModel, Fact, SignalDistribution, Spread
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.signals import CONSTANTS
from sheetmargin_service.principles.ultrasonic.films import FILM_VARIATION
from sheetmargin_service.principles.ultrasonic.responses import SheetModel

CONDITIONS = Conditions(
    temperature_min_c=15.0,
    temperature_max_c=35.0,
    relative_humidity_min_pct=30.0,
    relative_humidity_max_pct=70.0,
    pressure_kpa=101.325,
    flutter_mm=1.0,
    flutter_deg=1.0,
    max_tilt_deg=45.0,
    clearance_above_mm=None,
    clearance_below_mm=None,
)


def sheet(material: str, **spec: Any) -> Sheet:
    """A sheet of the library, by the fields of a spec."""
    return resolve_sheet(SheetSpec(material=material, **spec), load_library())


def detector_class(class_id: str, **parameters: Any) -> DetectorClass:
    """A reference class, with some parameters changed."""
    found = next(c for c in reference_catalogue().classes if c.id == class_id)
    return replace(found, parameters=replace(found.parameters, **parameters))


def class_model(class_id: str, *, conditions: Conditions = CONDITIONS, **parameters: Any) -> ClassModel:
    """A reference class under usual conditions."""
    c = detector_class(class_id, **parameters)
    made = principles()[c.principle].class_model(c, conditions)
    assert not isinstance(made, Fact), made
    return made


def means(made: ClassModel, a_sheet: Sheet, setting: int) -> dict[str, float]:
    """Mean reading of each state at one setting, with the constants of the library."""
    grid = principles()[made.detector_class.principle].grid
    distribution = _with_known_constants(made, a_sheet, setting)
    return {
        state: float(getattr(distribution, state).steady(grid) @ grid.centres)
        for state in ("no_sheet", "single", "double")
    }


def deviations(made: ClassModel, a_sheet: Sheet, setting: int) -> dict[str, float]:
    """Standard deviation of each state at one setting, with the constants of the library."""
    grid = principles()[made.detector_class.principle].grid
    distribution = _with_known_constants(made, a_sheet, setting)
    found = {}
    for state in ("no_sheet", "single", "double"):
        pmf = getattr(distribution, state).steady(grid)
        mean = pmf @ grid.centres
        found[state] = float(np.sqrt(pmf @ (grid.centres - mean) ** 2))
    return found


def _with_known_constants(made: ClassModel, a_sheet: Sheet, setting: int) -> SignalDistribution:
    """One setting with nothing unknown of a principle's constants; what ultrasound does not know stays so."""
    distribution = made.distribution(a_sheet, setting)

    def known(spread: Spread) -> Spread:
        unknowns = {name: parabola for name, parabola in spread.unknowns.items() if name not in CONSTANTS}
        return replace(spread, unknowns=unknowns)

    return replace(
        distribution,
        no_sheet=known(distribution.no_sheet),
        single=known(distribution.single),
        double=known(distribution.double),
    )


def at_angles(
    model: SheetModel, film_m: float | None, frequency_hz: float, theta: NDArray[np.float64], *, films: int = 41
) -> NDArray[np.complex128]:
    """Transmission of one ply, or of two with the mean over so many films that vary normally about one thickness within
    the spot, at any angles (P,)."""
    count = len(theta)
    at = np.full((count, 1), frequency_hz), np.sin(theta)[:, None]
    picked = model.picked(np.zeros(count, dtype=np.intp)).known_at(*at)
    if film_m is None:
        return picked.transmission(*at).ravel()
    u = np.linspace(-4.0, 4.0, films)
    weight = np.exp(-0.5 * u * u)
    each = film_m * (1.0 + FILM_VARIATION * u)
    pairs = (picked.transmission_of_flat_stack(np.full((1, count), film), *at).ravel() for film in each)
    return np.asarray(sum(w * pair for w, pair in zip(weight / weight.sum(), pairs, strict=True)))


def predictive(spread: Spread, grid: SignalGrid) -> NDArray[np.float64]:
    """The distribution (1, count) of one reading, with what is not known of the job mixed in."""
    steady = spread.steady(grid)[None, :]
    return steady if spread.noise is None else spread.noise.read(steady)
