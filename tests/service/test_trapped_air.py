"""Two sheets and the air between them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import wofz
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.fluid import FluidLayer, air_layer, fluid_response
from sheetmargin_service.acoustics.plate import ElasticPlate, isotropic_plate, limp_response, plate_response
from sheetmargin_service.acoustics.trapped_air import (
    _faddeeva,
    critical_film_m,
    double_response,
    double_transmission,
    even_film,
    film_layer,
    mass_air_mass_frequency_hz,
    uneven_film,
)
from support.sheets import elastic_plates, frequencies_hz, sines

AIR = humid_air()
gaps_m = st.floats(-6.0, -3.0).map(lambda exponent: 10.0**exponent)


@given(
    plate=elastic_plates(lossless=True),
    other=elastic_plates(lossless=True),
    gap=gaps_m,
    frequency=frequencies_hz,
    sine=sines,
)
@settings(max_examples=200, deadline=None)
def test_a_lossless_pair_keeps_energy_and_is_reciprocal(
    plate: ElasticPlate, other: ElasticPlate, gap: float, frequency: float, sine: float
) -> None:
    case = {"air": AIR, "frequency_hz": frequency, "sin_theta": sine}
    first, second = plate_response(plate=plate, **case), plate_response(plate=other, **case)
    film = fluid_response(layer=air_layer(air=AIR, thickness_m=gap), **case)
    pair = double_response(first=first, second=second, film=even_film(film))
    turned = double_response(first=second, second=first, film=even_film(film))
    power = abs(pair.transmission) ** 2
    assert power + abs(pair.reflection_below) ** 2 == pytest.approx(1.0, abs=1e-5)
    assert power + abs(pair.reflection_above) ** 2 == pytest.approx(1.0, abs=1e-5)
    assert complex(turned.transmission) == pytest.approx(complex(pair.transmission), rel=1e-9)
    assert complex(turned.reflection_below) == pytest.approx(complex(pair.reflection_above), rel=1e-6)


@given(plate=elastic_plates(), other=elastic_plates(), gap=gaps_m, frequency=frequencies_hz, sine=sines)
@settings(max_examples=200, deadline=None)
def test_a_film_makes_no_energy(
    plate: ElasticPlate, other: ElasticPlate, gap: float, frequency: float, sine: float
) -> None:
    case = {"air": AIR, "frequency_hz": frequency, "sin_theta": sine}
    film = fluid_response(layer=film_layer(air=AIR, thickness_m=gap, frequency_hz=frequency), **case)
    assert abs(film.reflection + film.transmission) <= 1.0 + 1e-9
    assert abs(film.reflection - film.transmission) <= 1.0 + 1e-9
    pair = double_response(
        first=plate_response(plate=plate, **case), second=plate_response(plate=other, **case), film=even_film(film)
    )
    for reflection in (pair.reflection_below, pair.reflection_above):
        assert abs(pair.transmission) ** 2 + abs(reflection) ** 2 <= 1.0 + 1e-6


def test_plain_air_is_a_phase() -> None:
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": np.array([0.0, 0.5, 0.9])}
    film = fluid_response(layer=air_layer(air=AIR, thickness_m=1e-3), **case)
    kz = 2.0 * np.pi * 200e3 / AIR.sound_speed_m_per_s * np.sqrt(1.0 - case["sin_theta"] ** 2)
    np.testing.assert_allclose(film.transmission, np.exp(-1e-3j * kz), rtol=1e-11)
    np.testing.assert_allclose(film.reflection, 0.0, atol=1e-12)


def test_a_pair_is_the_sum_of_its_echoes() -> None:
    # T2 = T T' e^(-i kz d)/(1 - R R' e^(-2 i kz d)) in plain air; the sheets differ.
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": np.linspace(0.0, 0.9, 10)}
    first = limp_response(mass_kg_m2=0.002, **case)
    second = plate_response(
        plate=isotropic_plate(
            thickness_m=5e-6, density_kg_m3=1390.0, youngs_modulus_pa=4.5e9, poisson_ratio=0.38, loss_factor=0.03
        ),
        **case,
    )
    gap = 3e-4
    turn = np.exp(-1j * 2.0 * np.pi * 200e3 / AIR.sound_speed_m_per_s * np.sqrt(1.0 - case["sin_theta"] ** 2) * gap)
    film = fluid_response(layer=air_layer(air=AIR, thickness_m=gap), **case)
    echoes = sum((first.reflection * second.reflection * turn**2) ** n for n in range(4000))
    expected = first.transmission * second.transmission * turn * echoes
    np.testing.assert_allclose(
        double_transmission(first=first, second=second, film=even_film(film)), expected, rtol=1e-8
    )


def test_both_forms_of_the_pair_agree_and_a_stack_can_be_built() -> None:
    case = {"air": AIR, "frequency_hz": np.array([100e3, 200e3])[:, None], "sin_theta": np.linspace(0.0, 0.95, 20)}
    sheet = limp_response(mass_kg_m2=0.08, **case)
    film = fluid_response(layer=film_layer(air=AIR, thickness_m=2e-5, frequency_hz=case["frequency_hz"]), **case)
    pair = double_response(first=sheet, second=sheet, film=even_film(film))
    np.testing.assert_allclose(
        double_transmission(first=sheet, second=sheet, film=even_film(film)), pair.transmission, rtol=1e-12
    )
    # Three plies: the same whichever pair is built first.
    up = double_transmission(first=pair, second=sheet, film=even_film(film))
    down = double_transmission(first=sheet, second=pair, film=even_film(film))
    np.testing.assert_allclose(up, down, rtol=1e-11)
    assert np.all(np.abs(up) < np.abs(pair.transmission))


def test_no_film_is_one_sheet_of_double_mass() -> None:
    case = {"air": AIR, "frequency_hz": 100e3, "sin_theta": np.linspace(0.0, 0.9, 10)}
    sheet = limp_response(mass_kg_m2=0.02, **case)
    film = fluid_response(layer=film_layer(air=AIR, thickness_m=1e-9, frequency_hz=100e3), **case)
    double = limp_response(mass_kg_m2=0.04, **case)
    np.testing.assert_allclose(
        double_transmission(first=sheet, second=sheet, film=even_film(film)), double.transmission, rtol=1e-3
    )


def test_film_goes_from_isothermal_and_held_to_adiabatic_and_free() -> None:
    thickness = np.geomspace(1e-7, 1e-2, 60)
    film = film_layer(air=AIR, thickness_m=thickness, frequency_hz=200e3)
    modulus, density = np.asarray(film.bulk_modulus_pa), np.asarray(film.in_plane_density_kg_m3)
    assert np.all(np.diff(modulus.real) > -1.0)
    assert modulus[0].real == pytest.approx(AIR.bulk_modulus_pa / AIR.heat_capacity_ratio, rel=1e-4)
    assert modulus[-1].real == pytest.approx(AIR.bulk_modulus_pa, rel=1e-3)
    # Loss by heat and by friction: K has a positive, 1/rho a positive imaginary part under e^(+i w t).
    assert np.all(modulus.imag > 0.0)
    assert np.all((1.0 / density).imag > 0.0)
    assert np.abs(density[0]) > 1e3 * AIR.density_kg_m3
    assert density[-1].real == pytest.approx(AIR.density_kg_m3, rel=1e-2)
    assert film.density_kg_m3 == AIR.density_kg_m3


def test_grazing_pairs_are_answered() -> None:
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": np.array([0.999999, 1.0, 1.5])}
    sheet = limp_response(mass_kg_m2=0.08, **case)
    for layer in (
        air_layer(air=AIR, thickness_m=1e-4),
        film_layer(air=AIR, thickness_m=1e-4, frequency_hz=200e3),
    ):
        two = double_transmission(first=sheet, second=sheet, film=even_film(fluid_response(layer=layer, **case)))
        assert np.all(np.isfinite(two))


def test_a_layer_of_another_fluid_is_the_three_medium_formula() -> None:
    # Water, square on.
    density, speed, thickness = 998.0, 1482.0, 2e-5
    layer = FluidLayer(
        thickness_m=thickness,
        density_kg_m3=density,
        in_plane_density_kg_m3=density,
        bulk_modulus_pa=density * speed**2,
    )
    ratio, phase = density * speed / AIR.impedance_pa_s_per_m, 2.0 * np.pi * 200e3 * thickness / speed
    response = fluid_response(layer=layer, air=AIR, frequency_hz=200e3, sin_theta=0.0)
    expected = 1.0 / (np.cos(phase) + 0.5j * (ratio + 1.0 / ratio) * np.sin(phase))
    assert complex(response.transmission) == pytest.approx(expected, rel=1e-10)


def test_critical_film_falls_with_mass_and_frequency() -> None:
    mass = np.array([0.01, 0.04, 0.16])
    critical = critical_film_m(mass_kg_m2=mass, air=AIR, frequency_hz=200e3)
    assert critical.shape == (3,)
    assert np.all(np.diff(critical) < 0.0)
    assert critical_film_m(mass_kg_m2=0.01, air=AIR, frequency_hz=400e3) < critical[0] / 3.9
    # Between the isothermal and the adiabatic value.
    isothermal = 2.0 * AIR.pressure_pa / (mass * (2.0 * np.pi * 200e3) ** 2)
    assert np.all(critical >= 0.99 * isothermal)
    assert np.all(critical <= 1.41 * isothermal)


def test_resonance_of_unequal_masses() -> None:
    case = {"gap_m": 1e-5, "bulk_modulus_pa": AIR.pressure_pa}
    one = mass_air_mass_frequency_hz(first_mass_kg_m2=0.02, second_mass_kg_m2=1e9, **case)
    two = mass_air_mass_frequency_hz(first_mass_kg_m2=0.02, second_mass_kg_m2=0.02, **case)
    assert two == pytest.approx(np.sqrt(2.0) * one, rel=1e-9)


LIGHT = {
    name: isotropic_plate(
        thickness_m=thickness, density_kg_m3=density, youngs_modulus_pa=5e9, poisson_ratio=0.38, loss_factor=0.03
    )
    for name, thickness, density in (("polyester", 23e-6, 1390.0), ("foamed", 40e-6, 700.0), ("paper", 1e-4, 800.0))
}


def mean_over_the_spot(plate: ElasticPlate, thickness: np.ndarray, variation: float, **case: object) -> np.ndarray:
    """Two sheets with a film that varies, by adding up 4,801 even films of normally distributed thickness."""
    u = np.linspace(-4.9, 4.9, 4801)[:, None]
    weight = np.exp(-0.5 * u**2) / np.sum(np.exp(-0.5 * u**2))
    there = thickness * (1.0 + variation * u)
    wavenumber = 2.0 * np.pi * case["frequency_hz"] / AIR.sound_speed_m_per_s
    displaced = np.exp(1j * wavenumber * there * np.sqrt(1.0 - case["sin_theta"] ** 2))
    layer = film_layer(air=AIR, thickness_m=there, frequency_hz=case["frequency_hz"])
    film = even_film(fluid_response(layer=layer, **case), factor=displaced)
    sheet = plate_response(plate=plate, **case)
    return np.sum(weight * double_transmission(first=sheet, second=sheet, film=film), axis=0)


@pytest.mark.parametrize("name", LIGHT)
@pytest.mark.parametrize("frequency", [180e3, 400e3])
@pytest.mark.parametrize("sine", [0.0, 0.5])
def test_an_uneven_film_is_the_mean_of_even_ones(name: str, frequency: float, sine: float) -> None:
    """From blocked sheets through the resonance of the pair, where an even film would read up to 19 dB stronger, within
    0.8 dB; from a tenth of a wavelength on, also where round trips meet again, within 0.2."""
    thickness = np.geomspace(0.3e-6, 2e-3, 80)
    case = {"air": AIR, "frequency_hz": frequency, "sin_theta": sine}
    film = uneven_film(air=AIR, thickness_m=thickness, variation=0.2, frequency_hz=frequency, sin_theta=sine)
    sheet = plate_response(plate=LIGHT[name], **case)
    mean = np.abs(double_transmission(first=sheet, second=sheet, film=film))
    expected = np.abs(mean_over_the_spot(LIGHT[name], thickness, 0.2, **case))
    difference = np.abs(20.0 * np.log10(mean / expected))
    assert np.max(difference) < 0.8
    assert np.max(difference[thickness * frequency / AIR.sound_speed_m_per_s > 0.09]) < 0.2


def test_a_film_that_hardly_varies_is_even() -> None:
    case = {"air": AIR, "frequency_hz": 180e3, "sin_theta": np.array([0.0, 0.4])}
    thickness = np.geomspace(0.3e-6, 1e-3, 30)[:, None]
    sheet = plate_response(plate=LIGHT["polyester"], **case)
    film = uneven_film(air=AIR, thickness_m=thickness, variation=1e-6, frequency_hz=180e3, sin_theta=case["sin_theta"])
    response = fluid_response(layer=film_layer(air=AIR, thickness_m=thickness, frequency_hz=180e3), **case)
    phase = 2.0 * np.pi * 180e3 / AIR.sound_speed_m_per_s * thickness * np.sqrt(1.0 - case["sin_theta"] ** 2)
    even = even_film(response, factor=np.exp(1j * phase))
    np.testing.assert_allclose(
        double_transmission(first=sheet, second=sheet, film=film),
        double_transmission(first=sheet, second=sheet, film=even),
        rtol=1e-6,
    )


def test_the_faddeeva_function_is_that_of_scipy() -> None:
    """In the upper half-plane and on its edge, which is where it is asked."""
    real, imaginary = np.meshgrid(np.linspace(-12.0, 12.0, 241), np.concatenate([[0.0], np.geomspace(1e-6, 30.0, 60)]))
    z = real + 1j * imaginary
    assert np.max(np.abs(_faddeeva(z) - wofz(z))) < 2e-6
