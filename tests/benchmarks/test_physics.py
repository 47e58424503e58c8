"""What the physics costs beside general tools: a multilayer solver, and adaptive quadrature over the beam."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from mediapack import Elastic
from pymls import Layer, Solver, backing
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.operators import gaussian_band
from sheetmargin_service.acoustics.plate import isotropic_plate, plate_response
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.films import FILM_M, film_weights
from sheetmargin_service.selection.recommend import recommend
from support.costs import cost_s, ratio
from support.principle_cases import at_angles, class_model, sheet
from support.quadrature import Beam, integrate

pytestmark = pytest.mark.long

Record = Callable[[str, object], None]
POINTS = 1000
BAND_NODES = 5


def test_a_plate_by_the_point(record_property: Record) -> None:
    """1,000 points of one plate, 4 frequencies by 250 angles, against one solution of `pymls` for each of 25 points."""
    plate = isotropic_plate(
        thickness_m=1e-3, density_kg_m3=1380.0, youngs_modulus_pa=3.3e9, poisson_ratio=0.38, loss_factor=0.03
    )
    air = humid_air()
    frequency = np.array([100e3, 200e3, 300e3, 400e3])[:, None]
    angle = np.linspace(0.1, 80.0, POINTS // len(frequency))
    solver = Solver(layers=[Layer(Elastic(E=3.3e9, nu=0.38, rho=1380, eta=0.03), 1e-3)], backing=backing.transmission)
    some = angle[::10]

    def general() -> None:
        with contextlib.redirect_stdout(io.StringIO()):
            for a in some:
                solver.solve(200e3, float(a))

    def ours() -> None:
        for _ in range(20):
            plate_response(plate=plate, air=air, frequency_hz=frequency, sin_theta=np.sin(np.radians(angle)))

    found = ratio(general, ours) * (20 * POINTS / len(some))
    record_property("pymls_over_plate_by_point", round(found))
    assert found > 100.0


def test_a_search_by_quadrature(record_property: Record) -> None:
    """The levels behind one recommendation by adaptive quadrature to 0.1 dB: the time of a sample of them, times their
    number. Every class, setting, film and case of one paper; the quadrature has a band of five frequencies."""
    spec = SheetSpec(material="copy-paper", grammage_gsm=80.0)
    paper = sheet("copy-paper", grammage_gsm=80)
    classes = [c.id for c in reference_catalogue().classes if c.principle == "ultrasonic"]
    class_models = [class_model(name) for name in classes]
    index, _ = film_weights(paper.trapped_air, every=2)
    sheet_levels = [made.levels_of(paper) for made in class_models]
    cases = len(sheet_levels[0].levels.model.cases)
    number = sum(len(made.settings.gap_mm) for made in class_models) * cases * (1 + len(index))

    def level(made: object, setting: int, film_m: float | None) -> None:
        levels, pair, p = made.levels_of(paper).levels, made.pair, made.parameters
        model = replace(levels.model.first(1), usual=None)
        width = 0.0 if p.drive == "continuous" else p.bandwidth_hz
        for f, _ in zip(*gaussian_band(centre_hz=p.frequency_hz, bandwidth_hz=width, nodes=BAND_NODES), strict=True):
            beam = Beam(
                wavenumber_per_m=2.0 * np.pi * f / pair.air.sound_speed_m_per_s,
                radius_m=1e-3 * p.face_radius_mm,
                gap_m=1e-3 * pair.gap_mm[setting],
                tilt_rad=np.radians(pair.tilt_deg[setting]),
            ).spline(1.0)

            def through(theta: np.ndarray, f: float = f) -> np.ndarray:
                return at_angles(model, film_m, f, theta)

            integrate(kernel=beam, transmission=through, splits=np.empty(0), tolerance=10.0 ** (-0.05 * 50.0) * 1.2)

    # One sheet, and two with the median film.
    films = (None, float(FILM_M[index[len(index) // 2]]))
    sample = [(made, setting, film) for made in class_models[::3] for setting in (0, 40) for film in films]
    for one in sample[:2]:
        level(*one)
    by_quadrature = cost_s(lambda: [level(*one) for one in sample]) / len(sample) * number
    job = Job(sheets=(spec,), principles=("ultrasonic",))
    seconds = min(
        cost_s(lambda: recommend(job, catalogue=reference_catalogue(), library=load_library())) for _ in range(5)
    )
    record_property("quadrature_levels", number)
    record_property("quadrature_over_recommendation", round(by_quadrature / seconds))
    assert by_quadrature / seconds > 300.0
