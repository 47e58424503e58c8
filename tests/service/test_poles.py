"""Poles between the real angles and the path: waves that run backward, against quadrature on the real axis.

The quadrature sees nothing of the path: it halves panels of real angles until each agrees with its halves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from sheetmargin.contract.job import Custom, Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.contour import Contour
from sheetmargin_service.acoustics.operators import Operator, apply_samples, transmission_operator
from sheetmargin_service.acoustics.plate import ElasticPlate, isotropic_plate, plate_response
from sheetmargin_service.acoustics.poles import find_poles, find_poles_of_halves, put_back, take_out, unresolved
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.films import FILM_M
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import pair_at
from sheetmargin_service.principles.ultrasonic.responses import Case, SheetModel
from sheetmargin_service.selection.recommend import recommend
from support.principle_cases import at_angles, detector_class, sheet
from support.quadrature import Beam, integrate

AIR = humid_air()
SPEED = AIR.sound_speed_m_per_s
RADIUS, GAP = 7.5e-3, 45e-3
TILTS_DEG = (0.0, 2.0, 10.0, 30.0)
FLOOR = 10.0 ** (-90.0 / 20.0)
Complex = NDArray[np.complex128]


def operator_at(frequency_hz: float) -> Operator:
    return transmission_operator(
        radius_m=RADIUS,
        frequency_hz=np.array([frequency_hz]),
        band_weight=np.ones(1),
        gap_m=np.array([GAP]),
        tilt_rad=np.radians(TILTS_DEG),
        sound_speed_m_per_s=SPEED,
    )


def transmission(plate: ElasticPlate, frequency_hz: float, theta: Complex) -> Complex:
    response = plate_response(plate=plate, air=AIR, frequency_hz=frequency_hz, sin_theta=np.sin(theta))
    return np.asarray(response.transmission)


def received(plate: ElasticPlate, frequency_hz: float) -> tuple[Complex, Complex]:
    """Amplitudes (N,) with the poles that matter, and without them."""
    operator = operator_at(frequency_hz)
    samples = transmission(plate, frequency_hz, operator.contour.theta)[None]
    poles = find_poles(
        contour=operator.contour,
        samples=samples,
        evaluate=lambda _, theta: transmission(plate, frequency_hz, theta),
    )
    rest = take_out(contour=operator.contour, samples=samples, poles=poles)
    given = put_back(operator=operator, line=0, poles=poles).sum(axis=0)
    return apply_samples(operator=operator, samples=rest)[0] + given, apply_samples(operator=operator, samples=samples)[
        0
    ]


def on_the_axis(plate: ElasticPlate, frequency_hz: float, tilt_deg: float) -> complex:
    beam = Beam(
        wavenumber_per_m=2.0 * np.pi * frequency_hz / SPEED, radius_m=RADIUS, gap_m=GAP, tilt_rad=np.radians(tilt_deg)
    )
    return integrate(
        kernel=beam.spline(1.0),
        transmission=lambda theta: transmission(plate, frequency_hz, theta),
        splits=np.empty(0),
        tolerance=1e-7,
    )


def error_db(found: complex, wanted: complex) -> float:
    """Of amplitudes relative to the open path, the error over the larger of the wanted one and -90 dB."""
    return float(20.0 * np.log10(1.0 + abs(found - wanted) / max(abs(wanted), FLOOR)))


KNOWN = {
    "steel, 6 mm": (460e3, 6e-3, 7850.0, 210e9, 0.29, 0.002),
    "PMMA, 3 mm, 420 kHz": (420e3, 3e-3, 1180.0, 5.5e9, 0.34, 0.04),
    "PMMA, 3 mm, 400 kHz": (400e3, 3e-3, 1180.0, 5.5e9, 0.34, 0.04),
    "glass, 6 mm": (440e3, 6e-3, 2500.0, 70e9, 0.22, 0.002),
}
"""Frequency Hz, thickness m, density kg/m3, Young's modulus Pa, Poisson's ratio and loss: typical, from memory. Near
the first longitudinal resonance of each."""


@pytest.mark.parametrize("name", KNOWN)
def test_plates_near_their_first_thickness_resonance(name: str) -> None:
    """0.1 dB with the poles, decibels off without them at some tilt."""
    frequency_hz, thickness, density, modulus, ratio, loss = KNOWN[name]
    plate = isotropic_plate(
        thickness_m=thickness,
        density_kg_m3=density,
        youngs_modulus_pa=modulus,
        poisson_ratio=ratio,
        loss_factor=loss,
    )
    found, without = received(plate, frequency_hz)
    wanted = [on_the_axis(plate, frequency_hz, tilt) for tilt in TILTS_DEG]
    assert max(error_db(*pair) for pair in zip(found, wanted, strict=True)) < 0.1
    assert max(error_db(*pair) for pair in zip(without, wanted, strict=True)) > 0.3


def random_plate(rng: np.random.Generator, frequency_hz: float) -> ElasticPlate:
    """A plate whose first or second thickness resonance lies within a sixth of the frequency: isotropic, of metal to
    plastic; every third like board, soft through the thickness and stiff in its plane."""
    cutoff = rng.choice([0.5, 1.0]) * rng.uniform(0.85, 1.18)
    loss = float(np.exp(rng.uniform(np.log(1e-3), np.log(0.08))))
    if rng.integers(3) == 0:
        density, c33 = rng.uniform(600.0, 1000.0), rng.uniform(3e7, 8e7)
        modulus = 1.0 + 1j * max(loss, 0.03)
        return ElasticPlate(
            thickness_m=cutoff * np.sqrt(c33 / density) / frequency_hz,
            density_kg_m3=density,
            c11_pa=rng.uniform(3e9, 9e9) * modulus,
            c13_pa=rng.uniform(0.0, 1e8) * modulus,
            c33_pa=c33 * modulus,
            c55_pa=rng.uniform(6e7, 1.5e8) * modulus,
        )
    density, ratio = rng.uniform(1000.0, 8000.0), rng.uniform(0.2, 0.42)
    speed = rng.uniform(2000.0, 6000.0)
    youngs = density * speed**2 * (1.0 + ratio) * (1.0 - 2.0 * ratio) / (1.0 - ratio)
    shear = speed * np.sqrt((1.0 - 2.0 * ratio) / (2.0 * (1.0 - ratio)))
    return isotropic_plate(
        thickness_m=cutoff * (speed if rng.integers(2) else shear) / frequency_hz,
        density_kg_m3=density,
        youngs_modulus_pa=youngs,
        poisson_ratio=ratio,
        loss_factor=loss,
    )


@pytest.mark.parametrize("part", range(4))
def test_plates_about_their_first_two_thickness_resonances(part: int) -> None:
    """120 in all: 0.1 dB; a dozen or more would be wrong without their poles."""
    rng = np.random.default_rng(part)
    worst, needed = 0.0, 0
    for _ in range(30):
        frequency_hz, tilt = float(rng.uniform(75e3, 500e3)), int(rng.integers(len(TILTS_DEG)))
        plate = random_plate(rng, frequency_hz)
        found, without = received(plate, frequency_hz)
        wanted = on_the_axis(plate, frequency_hz, TILTS_DEG[tilt])
        worst = max(worst, error_db(found[tilt], wanted))
        needed += error_db(without[tilt], wanted) > 0.1
    assert worst < 0.1
    assert needed >= 3


def test_a_pole_is_given_back_as_its_residue() -> None:
    """One known pole on an even background, on either side of the path and right on it: against quadrature."""
    operator = operator_at(300e3)
    beam = Beam(wavenumber_per_m=2.0 * np.pi * 300e3 / SPEED, radius_m=RADIUS, gap_m=GAP, tilt_rad=np.radians(10.0))
    for pole in (0.2 + 0.01j, 0.17 + 0.03j, 0.15 + 0.045j, 0.3 - 0.002j, 0.004 + 0.006j):

        def response(theta: Complex, pole: complex = pole) -> Complex:
            return np.asarray(0.01 * np.cos(theta) + 1e-3j * pole / (theta**2 - pole**2))

        samples = response(operator.contour.theta)[None]
        poles = find_poles(contour=operator.contour, samples=samples, evaluate=lambda _, theta: response(theta))
        rest = take_out(contour=operator.contour, samples=samples, poles=poles)
        given = put_back(operator=operator, line=0, poles=poles).sum(axis=0)
        found = apply_samples(operator=operator, samples=rest)[0, 2] + given[2]
        wanted = integrate(kernel=beam.spline(1.0), transmission=response, splits=np.array([pole.real]), tolerance=1e-8)
        assert error_db(found, wanted) < 0.02
        if len(poles.row):
            assert poles.theta == pytest.approx([pole], abs=1e-6)
            assert poles.residue == pytest.approx([0.5e-3j], rel=1e-4)
    assert not len(unresolved(contour=Contour(), poles=poles.some(np.zeros(len(poles.row), dtype=np.bool_))))


def _nearest(film_m: float) -> int:
    return int(np.argmin(np.abs(np.log(FILM_M / film_m))))


PAIRED = {
    "PMMA, 3 mm": ("ultrasonic-400k", sheet("pmma", thickness_um=3000)),
    "PC, 4.1 mm": ("ultrasonic-220k-continuous", sheet("pc", thickness_um=4100)),
    "FR4, 6 mm": ("ultrasonic-220k-continuous", sheet("fr4", thickness_um=6000)),
    "CFRP, 2.8 mm": ("ultrasonic-500k", sheet("cfrp", thickness_um=2800)),
}


@pytest.mark.parametrize("name", PAIRED)
@pytest.mark.parametrize("film_m", [None, 5.9e-6, 81e-6, 860e-6], ids=["one", "6 um", "80 um", "860 um"])
def test_two_plates_near_a_resonance_on_films_that_vary(name: str, film_m: float | None) -> None:
    """Against adding up even films on the real axis, at the centre of the band: 0.2 dB. Left out, the poles of two PMMA
    plates on 860 um cost tens of decibels."""
    class_id, a_sheet = PAIRED[name]
    parameters = replace(detector_class(class_id).parameters, drive="continuous", gate_us=None)
    pair = pair_at(
        parameters, AIR, gap_mm=(0.5 * (parameters.gap_min_mm + parameters.gap_max_mm),), tilt_deg=(0.0, 5.0)
    )
    levels = levels_of(a_sheet, pair)
    assert np.any(levels.span_rad[0] < levels.span_rad[1])
    model = SheetModel(sheet=a_sheet, air=AIR, cases=(Case(),))
    thickness_m = None if film_m is None else float(FILM_M[_nearest(film_m)])
    for setting, tilt in enumerate((0.0, 5.0)):
        beam = Beam(
            wavenumber_per_m=2.0 * np.pi * parameters.frequency_hz / SPEED,
            radius_m=1e-3 * parameters.face_radius_mm,
            gap_m=1e-3 * float(pair.gap_mm[0]),
            tilt_rad=np.radians(tilt),
        )
        wanted = integrate(
            kernel=beam.spline(1.0),
            transmission=lambda theta: at_angles(model, thickness_m, parameters.frequency_hz, theta),
            splits=np.empty(0),
            tolerance=1e-8,
        )
        if film_m is None:
            found_db = levels.single().attenuation_db[0, 0, setting]
        else:
            found_db = levels.over_films(1)[0][_nearest(film_m), setting]
        found = 10.0 ** (-found_db / 20.0)
        floor = 10.0 ** (-parameters.bypass_db / 20.0)
        assert 20.0 * abs(np.log10(max(found, floor) / max(abs(wanted), floor))) < 0.3


def test_a_pole_that_is_met_exactly_is_as_any_other() -> None:
    """The half that has it is endless there, and is not used."""
    at, rest = 0.25 + 0.0078125j, 2.0
    contour = operator_at(250e3).contour

    def halves(theta: Complex) -> Complex:
        off = theta * theta - at * at
        return np.stack([1.0 / np.where(np.abs(off) < 1e-9, 0.0, off), 3.0 + 0.0 * theta])

    found = find_poles_of_halves(
        contour=contour,
        halves=halves(contour.theta[None]),
        evaluate_halves=lambda row, theta: halves(theta),
        evaluate=lambda row, theta: rest * halves(theta).prod(axis=0),
        span_rad=np.array([[0.0], [1.0]]),
    )
    assert found.theta == pytest.approx([at])
    assert found.residue == pytest.approx([3.0 * rest / (2.0 * at)])


def test_where_a_sheet_passes_nothing_but_rounding_nothing_is_a_pole() -> None:
    """As light as air and as soft as nothing across, stiff along: levels are finite, one sheet's and two's."""
    custom = Custom(
        density_kg_m3=1.976,
        c11_gpa=1.0,
        c13_gpa=1e-9,
        c33_gpa=1e-9,
        c55_gpa=0.0327,
        loss_factor=0.0776,
        modulus_uncertainty_pct=95,
        loss_uncertainty_pct=95,
    )
    spec = SheetSpec(material="custom", custom=custom, grammage_gsm=10.817)
    answer = recommend(
        Job(sheets=(spec,), principles=("ultrasonic",)), catalogue=reference_catalogue(), library=load_library()
    )
    assert answer.verdict == "unsuitable"
