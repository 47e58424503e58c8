"""One elastic sheet: conservation, limits, edge cases."""

import numpy as np
import pytest
from hypothesis import given, settings
from scipy.optimize import brentq
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.plate import (
    ElasticPlate,
    isotropic_plate,
    limp_response,
    plate_from_speeds,
    plate_response,
)
from support.multilayer import solve_by_eigenvalues
from support.sheets import elastic_plates, frequencies_hz, sines

AIR = humid_air()
SINES = np.concatenate([np.linspace(0.0, 0.99, 34), [0.999999, 1.0]])
PVC = isotropic_plate(
    thickness_m=1e-3, density_kg_m3=1380.0, youngs_modulus_pa=3.3e9, poisson_ratio=0.38, loss_factor=0.03
)


@given(plate=elastic_plates(lossless=True), frequency_hz=frequencies_hz, sin_theta=sines)
@settings(max_examples=300, deadline=None)
def test_a_lossless_sheet_keeps_energy(plate: ElasticPlate, frequency_hz: float, sin_theta: float) -> None:
    response = plate_response(plate=plate, air=AIR, frequency_hz=frequency_hz, sin_theta=sin_theta)
    assert abs(response.transmission) ** 2 + abs(response.reflection) ** 2 == pytest.approx(1.0, abs=1e-6)


@given(plate=elastic_plates(), frequency_hz=frequencies_hz, sin_theta=sines)
@settings(max_examples=300, deadline=None)
def test_a_lossy_sheet_makes_no_energy(plate: ElasticPlate, frequency_hz: float, sin_theta: float) -> None:
    response = plate_response(plate=plate, air=AIR, frequency_hz=frequency_hz, sin_theta=sin_theta)
    # Each of the two motions absorbs on its own: |R + T| and |R - T| are at most 1.
    assert abs(response.reflection + response.transmission) <= 1.0 + 1e-9
    assert abs(response.reflection - response.transmission) <= 1.0 + 1e-9


@given(plate=elastic_plates(), frequency_hz=frequencies_hz, sin_theta=sines)
@settings(max_examples=150, deadline=None)
def test_any_sheet_is_that_of_an_eigenvalue_solution(
    plate: ElasticPlate, frequency_hz: float, sin_theta: float
) -> None:
    case = {"air": AIR, "frequency_hz": frequency_hz, "sin_theta": sin_theta}
    response = plate_response(plate=plate, **case)
    reflection, transmission = solve_by_eigenvalues([plate], **case)
    assert complex(response.transmission) == pytest.approx(transmission, rel=1e-6, abs=1e-12)
    assert complex(response.reflection) == pytest.approx(reflection, rel=1e-6)


def test_a_vanishing_sheet_is_transparent() -> None:
    plate = isotropic_plate(thickness_m=1e-12, density_kg_m3=1000.0, youngs_modulus_pa=3e9, poisson_ratio=0.3)
    response = plate_response(plate=plate, air=AIR, frequency_hz=200e3, sin_theta=SINES[:-2])
    np.testing.assert_allclose(response.transmission, 1.0, atol=1e-4)
    np.testing.assert_allclose(response.reflection, 0.0, atol=1e-4)


def test_a_very_thick_sheet_neither_overflows_nor_loses_its_transmission() -> None:
    # Lossy rubber: one wave is left, falling at its own rate to where doubles end, and zero beyond.
    thickness = np.array([0.2, 0.4, 1.0, 100.0])[:, None]
    plate = isotropic_plate(
        thickness_m=thickness, density_kg_m3=1100.0, youngs_modulus_pa=1e7, poisson_ratio=0.49, loss_factor=0.3
    )
    response = plate_response(plate=plate, air=AIR, frequency_hz=200e3, sin_theta=SINES)
    assert np.all(np.isfinite(response.transmission))
    assert np.all(np.isfinite(response.reflection))
    assert np.all(response.transmission[-1] == 0.0)
    level = np.log(np.abs(response.transmission[:-1, 0]))
    rate = 2.0 * np.pi * 200e3 * np.sqrt(1100.0 / complex(plate.c33_pa)).imag
    np.testing.assert_allclose(np.diff(level), rate * np.diff(thickness[:-1, 0]), rtol=1e-9)


def test_a_thin_soft_sheet_follows_the_mass_law() -> None:
    plate = isotropic_plate(thickness_m=5e-6, density_kg_m3=900.0, youngs_modulus_pa=2e8, poisson_ratio=0.45)
    sheet = plate_response(plate=plate, air=AIR, frequency_hz=100e3, sin_theta=SINES[:-2])
    limp = limp_response(mass_kg_m2=900.0 * 5e-6, air=AIR, frequency_hz=100e3, sin_theta=SINES[:-2])
    np.testing.assert_allclose(sheet.transmission, limp.transmission, rtol=0.01)
    assert np.abs(limp.transmission[0]) == pytest.approx(
        1.0 / np.hypot(1.0, np.pi * 100e3 * 0.0045 / AIR.impedance_pa_s_per_m)
    )


def test_isotropic_constants_have_two_names() -> None:
    young, ratio, density = 3.3e9, 0.38, 1380.0
    longitudinal = np.sqrt(young * (1.0 - ratio) / (density * (1.0 + ratio) * (1.0 - 2.0 * ratio)))
    shear = np.sqrt(young / (2.0 * density * (1.0 + ratio)))
    by_speeds = plate_from_speeds(
        thickness_m=1e-3,
        density_kg_m3=density,
        longitudinal_speed_m_per_s=longitudinal,
        shear_speed_m_per_s=shear,
        loss_factor=0.03,
    )
    for name in ("c11_pa", "c13_pa", "c33_pa", "c55_pa"):
        assert getattr(by_speeds, name) == pytest.approx(getattr(PVC, name), rel=1e-12)


def test_isotropic_is_a_limit_of_transversely_isotropic() -> None:
    # Stiffnesses a hair from isotropic change the answer by as little.
    near = ElasticPlate(
        thickness_m=1e-3,
        density_kg_m3=1380.0,
        c11_pa=PVC.c11_pa * (1.0 + 1e-11),
        c13_pa=PVC.c13_pa * (1.0 - 1e-11),
        c33_pa=PVC.c33_pa,
        c55_pa=PVC.c55_pa * (1.0 + 1e-11),
    )
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": SINES[:-2]}
    one, other = plate_response(plate=PVC, **case), plate_response(plate=near, **case)
    np.testing.assert_allclose(one.transmission, other.transmission, rtol=1e-9)


def coincident(*, slowness_s_per_m: float) -> ElasticPlate:
    """A sheet whose two partial waves coincide at a slowness: D = 0 solved for c55, lossless."""
    density, c11, c13, c33 = 800.0, 4.0e9, 0.3e9, 0.5e9

    def squared_difference(c55: float) -> float:
        minor = c11 * c33 - c13**2
        coupling = (minor - 2.0 * c13 * c55) / (c33 * c55)
        square = slowness_s_per_m**2
        return (
            (0.5 * density * (1.0 / c33 - 1.0 / c55)) ** 2
            + square * density * ((1.0 + c11 / c55) / c33 - 0.5 * coupling * (1.0 / c33 + 1.0 / c55))
            + square**2 * (0.25 * coupling**2 - c11 / c33)
        )

    c55 = brentq(squared_difference, 0.2e9, 3.0e9, xtol=1e-3)
    return ElasticPlate(thickness_m=3e-4, density_kg_m3=density, c11_pa=c11, c13_pa=c13, c33_pa=c33, c55_pa=c55)


def test_coinciding_partial_waves_have_a_limit() -> None:
    sin_theta = 0.6
    plate = coincident(slowness_s_per_m=sin_theta / AIR.sound_speed_m_per_s)
    near = sin_theta + np.array([-1e-4, 0.0, 1e-4])
    response = plate_response(plate=plate, air=AIR, frequency_hz=200e3, sin_theta=near)
    assert np.all(np.isfinite(response.transmission))
    # Smooth: the middle is the mean of its neighbours.
    assert complex(response.transmission[1]) == pytest.approx(complex(response.transmission[::2].mean()), rel=1e-5)
    assert np.abs(response.transmission[1]) ** 2 + np.abs(response.reflection[1]) ** 2 == pytest.approx(1.0, abs=1e-8)


def test_grazing_partial_waves_have_a_limit() -> None:
    # The longitudinal wave grazes exactly where sin(theta) = c/cL.
    speed = 2000.0
    plate = plate_from_speeds(
        thickness_m=1e-3, density_kg_m3=1200.0, longitudinal_speed_m_per_s=speed, shear_speed_m_per_s=1000.0
    )
    sine = AIR.sound_speed_m_per_s / speed * np.array([1.0 - 1e-5, 1.0, 1.0 + 1e-5])
    response = plate_response(plate=plate, air=AIR, frequency_hz=200e3, sin_theta=sine)
    assert complex(response.transmission[1]) == pytest.approx(complex(response.transmission[::2].mean()), rel=1e-4)


def test_grazing_incidence_reflects_all() -> None:
    response = plate_response(plate=PVC, air=AIR, frequency_hz=200e3, sin_theta=1.0)
    assert abs(response.transmission) < 0.05
    assert complex(response.reflection) == pytest.approx(-1.0, abs=0.05)


def test_evanescent_waves_are_answered() -> None:
    response = plate_response(plate=PVC, air=AIR, frequency_hz=200e3, sin_theta=np.array([1.1, 2.0, 5.0]))
    assert np.all(np.isfinite(response.transmission))
    assert np.all(np.abs(response.transmission) < 1.0)


def test_a_paper_shows_its_thickness_resonance() -> None:
    # Half a wavelength through 0.4 mm at sqrt(C33/rho) = 232 m/s: 290 kHz, where the mass law alone is far off.
    paper = ElasticPlate(
        thickness_m=4e-4,
        density_kg_m3=780.0,
        c11_pa=4.5e9 * (1.0 + 0.1j),
        c13_pa=2e7 * (1.0 + 0.1j),
        c33_pa=780.0 * 232.0**2 * (1.0 + 0.1j),
        c55_pa=90e6 * (1.0 + 0.1j),
    )
    frequency = np.linspace(150e3, 450e3, 301)
    level = np.abs(plate_response(plate=paper, air=AIR, frequency_hz=frequency, sin_theta=0.0).transmission)
    limp = np.abs(limp_response(mass_kg_m2=0.312, air=AIR, frequency_hz=frequency, sin_theta=0.0).transmission)
    assert frequency[np.argmax(level)] == pytest.approx(290e3, rel=0.03)
    assert 20.0 * np.log10((level / limp).max()) > 10.0


def test_parameters_broadcast() -> None:
    thickness = np.array([1e-4, 1e-3])[:, None, None]
    plate = isotropic_plate(
        thickness_m=thickness, density_kg_m3=1380.0, youngs_modulus_pa=3.3e9, poisson_ratio=0.38, loss_factor=0.03
    )
    frequency = np.array([100e3, 200e3, 300e3])[:, None]
    response = plate_response(plate=plate, air=AIR, frequency_hz=frequency, sin_theta=SINES)
    assert response.transmission.shape == (2, 3, SINES.size)
    one = plate_response(plate=PVC, air=AIR, frequency_hz=200e3, sin_theta=float(SINES[7]))
    assert one.transmission.shape == ()
    assert complex(response.transmission[1, 1, 7]) == pytest.approx(complex(one.transmission), rel=1e-13)
    assert response.reflection_below is response.reflection_above is response.reflection
