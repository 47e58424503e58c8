"""The closed form of one elastic sheet against other solvers, textbook formulas and handbook values."""

import itertools
from typing import NamedTuple

import numpy as np
import pytest
from scipy.linalg import eig
from scipy.optimize import brentq
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.fluid import air_layer, fluid_response
from sheetmargin_service.acoustics.plate import ElasticPlate, isotropic_plate, plate_from_speeds, plate_response
from sheetmargin_service.acoustics.trapped_air import (
    double_transmission,
    even_film,
)
from support.multilayer import PYMLS_AIR, air_like, solve_by_eigenvalues, solve_exactly, solve_pymls


class Solid(NamedTuple):
    """Handbook values, illustrative: both sides of a comparison use them."""

    density_kg_m3: float
    youngs_modulus_pa: float
    poisson_ratio: float
    loss_factor: float

    def plate(self, thickness_m: float) -> ElasticPlate:
        return isotropic_plate(thickness_m=thickness_m, **self._asdict())


SOLIDS = {
    "paper-like": Solid(800.0, 3.0e9, 0.30, 0.05),
    "pvc": Solid(1380.0, 3.3e9, 0.38, 0.03),
    "pet": Solid(1390.0, 4.5e9, 0.38, 0.03),
    "aluminium": Solid(2700.0, 70.0e9, 0.34, 0.002),
    "steel": Solid(7850.0, 205.0e9, 0.29, 0.001),
    "glass": Solid(2500.0, 70.0e9, 0.22, 0.002),
}
THICKNESSES_M = (2e-5, 1e-4, 1e-3, 5e-3)
FREQUENCIES_HZ = (60e3, 120e3, 200e3, 500e3)
ANGLES_DEG = (0.1, 10.0, 20.0, 35.0, 50.0, 70.0)


@pytest.mark.parametrize("solid", SOLIDS)
def test_isotropic_plates_are_those_of_a_general_multilayer_solver(solid: str) -> None:
    # pymls 1.8.1, and the Rayleigh-Lamb formula at 50 digits as the arbiter. Over this grid pymls is well conditioned:
    # it is within 3e-10 of the arbiter, the closed form within 2e-10.
    for thickness, frequency, angle in itertools.product(THICKNESSES_M, FREQUENCIES_HZ, ANGLES_DEG):
        plate = SOLIDS[solid].plate(thickness)
        response = plate_response(
            plate=plate, air=PYMLS_AIR, frequency_hz=frequency, sin_theta=np.sin(np.radians(angle))
        )
        reflection, transmission = solve_exactly(plate, air=PYMLS_AIR, frequency_hz=frequency, angle_deg=angle)
        assert complex(response.transmission) == pytest.approx(complex(transmission), rel=1e-9)
        assert complex(response.reflection) == pytest.approx(complex(reflection), rel=1e-9)
        reflection, transmission = solve_pymls([plate], frequency_hz=frequency, angle_deg=angle)
        assert complex(response.transmission) == pytest.approx(transmission, rel=1e-6)
        assert complex(response.reflection) == pytest.approx(reflection, rel=1e-6)


@pytest.mark.parametrize("solid", SOLIDS)
def test_plates_with_air_between_are_those_of_a_general_multilayer_solver(solid: str) -> None:
    for (thickness, gap), frequency, angle in itertools.product(
        zip(THICKNESSES_M, (1e-5, 5e-5, 2e-4, 2e-3), strict=True), FREQUENCIES_HZ, ANGLES_DEG
    ):
        plate, air = SOLIDS[solid].plate(thickness), air_layer(air=PYMLS_AIR, thickness_m=gap)
        case = {"air": PYMLS_AIR, "frequency_hz": frequency, "sin_theta": np.sin(np.radians(angle))}
        sheet, film = plate_response(plate=plate, **case), fluid_response(layer=air, **case)
        _, transmission = solve_pymls([plate, air, plate], frequency_hz=frequency, angle_deg=angle)
        computed = complex(double_transmission(first=sheet, second=sheet, film=even_film(film)))
        assert computed == pytest.approx(transmission, rel=1e-6)


# Computed by a 6 x 6 global matrix at high precision, by a closed form and by pymls, which agree to the digits shown:
# 20 lg of transmission at 200 kHz and 0, 20 and 35 degrees, lossless, in air of 1.19914278 kg/m3 and 343.98448 m/s;
# one sheet and two with 50 um of lossless air between.
REFERENCE_ROWS = [
    (
        isotropic_plate(thickness_m=1e-4, density_kg_m3=800.0, youngs_modulus_pa=3e9, poisson_ratio=0.3),
        (-41.7130, -41.1457, -39.6707),
        (-74.2361, -72.5114, -68.2100),
    ),
    (
        plate_from_speeds(
            thickness_m=1e-3, density_kg_m3=1380.0, longitudinal_speed_m_per_s=2380.0, shear_speed_m_per_s=1060.0
        ),
        (-66.0456, -63.7238, -61.0327),
        (-123.2760, -118.0920, -111.6124),
    ),
    (
        plate_from_speeds(
            thickness_m=1e-3, density_kg_m3=2700.0, longitudinal_speed_m_per_s=6320.0, shear_speed_m_per_s=3130.0
        ),
        (-72.2254, -76.5994, -94.8688),
        (-135.6445, -143.8770, -179.2274),
    ),
]


@pytest.mark.parametrize(("plate", "one_db", "two_db"), REFERENCE_ROWS, ids=["paper-like", "pvc", "aluminium"])
def test_reference_rows(plate: ElasticPlate, one_db: tuple[float, ...], two_db: tuple[float, ...]) -> None:
    air = air_like(sound_speed_m_per_s=343.98448, density_kg_m3=1.19914278)
    case = {"air": air, "frequency_hz": 200e3, "sin_theta": np.sin(np.radians([0.0, 20.0, 35.0]))}
    sheet = plate_response(plate=plate, **case)
    film = fluid_response(layer=air_layer(air=air, thickness_m=50e-6), **case)
    two = double_transmission(first=sheet, second=sheet, film=even_film(film))
    np.testing.assert_allclose(20.0 * np.log10(np.abs(sheet.transmission)), one_db, atol=6e-5)
    np.testing.assert_allclose(20.0 * np.log10(np.abs(two)), two_db, atol=6e-5)


# The same, pymls 1.8.1 in its own air, with loss; 0.1, 20 and 35 degrees at 200 kHz, 50 um of air.
@pytest.mark.parametrize(
    ("solid", "thickness_m", "one_db", "two_db"),
    [
        ("pvc", 1e-3, (-65.888, -64.125, -51.632), (-123.012, -118.949, -92.953)),
        ("paper-like", 1e-4, (-41.664, -41.096, -39.614), (-74.189, -72.463, -68.146)),
        ("aluminium", 1e-3, (-72.177, -76.713, -94.922), None),
    ],
)
def test_reference_rows_with_loss(
    solid: str, thickness_m: float, one_db: tuple[float, ...], two_db: tuple[float, ...] | None
) -> None:
    case = {"air": PYMLS_AIR, "frequency_hz": 200e3, "sin_theta": np.sin(np.radians([0.1, 20.0, 35.0]))}
    sheet = plate_response(plate=SOLIDS[solid].plate(thickness_m), **case)
    np.testing.assert_allclose(20.0 * np.log10(np.abs(sheet.transmission)), one_db, atol=6e-4)
    if two_db is not None:
        film = fluid_response(layer=air_layer(air=PYMLS_AIR, thickness_m=50e-6), **case)
        two = double_transmission(first=sheet, second=sheet, film=even_film(film))
        np.testing.assert_allclose(20.0 * np.log10(np.abs(two)), two_db, atol=6e-4)


def test_square_on_a_plate_is_a_fluid_layer() -> None:
    # Kinsler, Frey, Coppens and Sanders, Fundamentals of Acoustics, 4th edition, equation 6.3.9: three media.
    air = humid_air()
    thickness = np.array([1e-6, 1e-5, 1e-4, 1e-3, 1e-2])[:, None]
    frequency = np.array([60e3, 200e3, 500e3])
    density, speed = 1380.0, 2380.0
    plate = plate_from_speeds(
        thickness_m=thickness, density_kg_m3=density, longitudinal_speed_m_per_s=speed, shear_speed_m_per_s=1060.0
    )
    ratio = density * speed / air.impedance_pa_s_per_m
    phase = 2.0 * np.pi * frequency * thickness / speed
    bottom = np.cos(phase) + 0.5j * (ratio + 1.0 / ratio) * np.sin(phase)
    response = plate_response(plate=plate, air=air, frequency_hz=frequency, sin_theta=0.0)
    np.testing.assert_allclose(response.transmission, 1.0 / bottom, rtol=1e-10)
    np.testing.assert_allclose(response.reflection, 0.5j * (ratio - 1.0 / ratio) * np.sin(phase) / bottom, rtol=1e-10)


def test_transversely_isotropic_sheets_are_those_of_an_eigenvalue_solution() -> None:
    # Stiffnesses from nearly isotropic to paper-like, each with a loss of its own.
    random = np.random.default_rng(20)
    for _ in range(300):
        c33 = random.uniform(2e7, 5e9)
        c11, c55 = c33 * random.uniform(1.0, 100.0), c33 * random.uniform(0.3, 2.5)
        c13 = np.sqrt(c11 * c33) * random.uniform(0.0, 0.6)
        loss = 1.0 + 1j * random.uniform(0.0, 0.2, 4)
        plate = ElasticPlate(
            thickness_m=10.0 ** random.uniform(-5.0, -2.3),
            density_kg_m3=random.uniform(300.0, 1500.0),
            c11_pa=c11 * loss[0],
            c13_pa=c13 * loss[1],
            c33_pa=c33 * loss[2],
            c55_pa=c55 * loss[3],
        )
        case = {
            "air": humid_air(),
            "frequency_hz": random.uniform(60e3, 500e3),
            "sin_theta": random.choice([0.0, random.uniform(0.0, 0.99)]),
        }
        reflection, transmission = solve_by_eigenvalues([plate], **case)
        response = plate_response(plate=plate, **case)
        assert complex(response.transmission) == pytest.approx(transmission, rel=1e-9)
        assert complex(response.reflection) == pytest.approx(reflection, rel=1e-9)


def bending_frequency_hz(plate: ElasticPlate, *, speed_m_per_s: float) -> float:
    """Frequency at which the lowest antisymmetric wave of a lossless free plate has a phase speed: Za = 0.

    Za follows from the response, Za Yf = (1 + R - T)/(1 - R + T), at the angle whose trace in air has that speed.
    """
    air = humid_air()

    def impedance(log_frequency: float) -> float:
        response = plate_response(
            plate=plate,
            air=air,
            frequency_hz=np.exp(log_frequency),
            sin_theta=air.sound_speed_m_per_s / speed_m_per_s,
        )
        antisymmetric = response.reflection - response.transmission
        return float(((1.0 + antisymmetric) / (1.0 - antisymmetric)).imag)

    # It starts as the impedance of the sheet's mass and falls through zero at the first bending wave.
    frequencies = np.log(np.geomspace(10.0, 1e7, 400))
    values = [impedance(frequency) for frequency in frequencies]
    first = next(index for index, value in enumerate(values) if value < 0.0)
    return float(np.exp(brentq(impedance, frequencies[first - 1], frequencies[first], xtol=1e-12)))


@pytest.mark.parametrize(
    ("product_hz_m", "density_kg_m3", "youngs_modulus_pa", "poisson_ratio"),
    # Critical frequency times thickness in air at 20 degrees: Long, Architectural Acoustics, table 9.1, after Beranek
    # 1971, Cremer, Heckl and Ungar 1973 and Fahy 1985, who find variations of 10 % not uncommon. The moduli are
    # handbook values (Kaye and Laby, Tables of Physical and Chemical Constants, from memory), plywood typical, from
    # memory.
    [
        pytest.param(12.4, 7850.0, 210e9, 0.29, id="steel"),
        pytest.param(12.0, 2700.0, 70e9, 0.34, id="aluminium"),
        pytest.param(12.7, 2500.0, 70e9, 0.22, id="glass"),
        pytest.param(16.3, 8930.0, 129.8e9, 0.343, id="copper"),
        pytest.param(17.8, 8500.0, 100.6e9, 0.35, id="brass"),
        pytest.param(20.0, 600.0, 6.0e9, 0.30, id="plywood"),
    ],
)
def test_critical_frequency_is_the_handbooks(
    product_hz_m: float, density_kg_m3: float, youngs_modulus_pa: float, poisson_ratio: float
) -> None:
    thickness = 5e-3
    plate = isotropic_plate(
        thickness_m=thickness,
        density_kg_m3=density_kg_m3,
        youngs_modulus_pa=youngs_modulus_pa,
        poisson_ratio=poisson_ratio,
    )
    # Grazing itself is the limit; a thousandth short of it moves the product by 0.2 %.
    critical = bending_frequency_hz(plate, speed_m_per_s=humid_air().sound_speed_m_per_s * 1.001)
    assert critical * thickness == pytest.approx(product_hz_m, rel=0.10)


def free_plate_speeds_m_per_s(
    *, longitudinal_m_per_s: float, shear_m_per_s: float, wavenumber_thickness: float
) -> np.ndarray:
    """Phase speeds of the waves of a free plate by spectral collocation (Adamou and Craster, JASA 116, 1524, 2004).

    Chebyshev differentiation (Trefethen, Spectral Methods in MATLAB) of the equations of motion in the thickness.
    """
    n = 24
    x = np.cos(np.pi * np.arange(n + 1) / n)
    c = np.where((np.arange(n + 1) == 0) | (np.arange(n + 1) == n), 2.0, 1.0) * (-1.0) ** np.arange(n + 1)
    difference = x[:, None] - x[None, :] + np.eye(n + 1)
    d = np.outer(c, 1.0 / c) / difference
    d -= np.diag(d.sum(axis=1))
    d *= 2.0
    k, one = 1j * wavenumber_thickness, np.eye(n + 1)
    a, b = longitudinal_m_per_s**2, shear_m_per_s**2
    motion = np.block(
        [[k * k * a * one + b * d @ d, -k * (a - b) * d], [-k * (a - b) * d, k * k * b * one + a * d @ d]]
    )
    traction = np.block([[b * d, -k * b * one], [-k * (a - 2.0 * b) * one, a * d]])
    mass = np.eye(2 * (n + 1))
    for row in (0, n, n + 1, 2 * n + 1):
        motion[row], mass[row] = traction[row], 0.0
    squares = eig(-motion, mass, right=False)
    squares = squares[np.isfinite(squares)]
    real = squares[(np.abs(squares.imag) < 1e-6 * np.abs(squares)) & (squares.real > 1.0)].real
    return np.sort(np.sqrt(real)) / wavenumber_thickness


@pytest.mark.parametrize(
    ("longitudinal_m_per_s", "shear_m_per_s"),
    # ElasticMatrix (an open MATLAB package), materialList.m: aluminium, glass, PMMA.
    [(6400.0, 3100.0), (5570.0, 3430.0), (2700.0, 1330.0)],
)
@pytest.mark.parametrize("speed_of_shear", [0.15, 0.3, 0.5, 0.7, 0.85])
def test_bending_wave_speeds_are_those_of_a_free_plate(
    longitudinal_m_per_s: float, shear_m_per_s: float, speed_of_shear: float
) -> None:
    # A0 of Rayleigh and Lamb from the thin-plate range to near the Rayleigh wave, which holds the working range (20 to
    # 500 Hz m) of every trace speed above that of air.
    speed = speed_of_shear * shear_m_per_s
    if speed < 1.01 * humid_air().sound_speed_m_per_s:
        speed = 1.01 * humid_air().sound_speed_m_per_s
    thickness = 1e-3
    plate = plate_from_speeds(
        thickness_m=thickness,
        density_kg_m3=2000.0,
        longitudinal_speed_m_per_s=longitudinal_m_per_s,
        shear_speed_m_per_s=shear_m_per_s,
    )
    frequency = bending_frequency_hz(plate, speed_m_per_s=speed)
    speeds = free_plate_speeds_m_per_s(
        longitudinal_m_per_s=longitudinal_m_per_s,
        shear_m_per_s=shear_m_per_s,
        wavenumber_thickness=2.0 * np.pi * frequency / speed * thickness,
    )
    assert speeds[0] == pytest.approx(speed, rel=1e-6)


def test_bending_waves_of_a_thick_plate_become_rayleigh_waves() -> None:
    # Rayleigh over shear speed at a Poisson ratio of 0.25: 0.9194 (Graff, Wave Motion in Elastic Solids, section 6.1).
    shear = 3000.0
    plate = plate_from_speeds(
        thickness_m=1e-3,
        density_kg_m3=2000.0,
        longitudinal_speed_m_per_s=np.sqrt(3.0) * shear,
        shear_speed_m_per_s=shear,
    )
    assert bending_frequency_hz(plate, speed_m_per_s=0.9190 * shear) * 1e-3 > 2.0 * shear
    with pytest.raises(StopIteration):
        bending_frequency_hz(plate, speed_m_per_s=0.9200 * shear)
