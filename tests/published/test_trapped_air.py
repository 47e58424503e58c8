"""The thermo-viscous film of air against its limits, published film results and the full equations of a viscous gas."""

import numpy as np
import pytest
from sheetmargin_service.acoustics.air import Air, humid_air, surface_admittance
from sheetmargin_service.acoustics.fluid import air_layer, fluid_response
from sheetmargin_service.acoustics.plate import limp_response
from sheetmargin_service.acoustics.response import Response
from sheetmargin_service.acoustics.trapped_air import (
    critical_film_m,
    double_transmission,
    even_film,
    film_layer,
    mass_air_mass_frequency_hz,
)
from support.multilayer import air_like
from support.viscous_gas import viscous_gas_impedances


def double_db(*, mass_kg_m2: float, thickness_m: float, frequency_hz: float, angle_deg: float, viscous: bool) -> float:
    air = humid_air()
    case = {"air": air, "frequency_hz": frequency_hz, "sin_theta": np.sin(np.radians(angle_deg))}
    if viscous:
        layer = film_layer(air=air, thickness_m=thickness_m, frequency_hz=frequency_hz)
    else:
        layer = air_layer(air=air, thickness_m=thickness_m)
    sheet = limp_response(mass_kg_m2=mass_kg_m2, **case)
    two = double_transmission(first=sheet, second=sheet, film=even_film(fluid_response(layer=layer, **case)))
    return float(20.0 * np.log10(np.abs(two)))


def test_a_wide_film_is_lossless_air() -> None:
    case = {"mass_kg_m2": 0.08, "thickness_m": 2e-3, "frequency_hz": 200e3}
    square_on = [double_db(**case, angle_deg=0.0, viscous=viscous) for viscous in (True, False)]
    assert square_on[0] == pytest.approx(square_on[1], abs=0.03)
    # Tilted, 2 mm come near a resonance of the cavity, where the walls' boundary layers count for more.
    tilted = [double_db(**case, angle_deg=35.0, viscous=viscous) for viscous in (True, False)]
    assert tilted[0] == pytest.approx(tilted[1], abs=0.25)


def test_a_narrow_film_is_an_isothermal_spring() -> None:
    # Half a micrometre at 60 kHz, where a boundary layer is ten: all heat goes to the walls, K = rho c^2/g = p0.
    air = humid_air()
    layer = film_layer(air=air, thickness_m=5e-7, frequency_hz=60e3)
    assert complex(layer.bulk_modulus_pa) == pytest.approx(air.pressure_pa, rel=2e-3)
    # Two limp sheets on that spring, as a chain of masses and springs: T = 1/(1 + i w m' - ...) with s = K/d.
    mass, case = 0.02, {"air": air, "frequency_hz": 60e3, "sin_theta": 0.0}
    sheet = limp_response(mass_kg_m2=mass, **case)
    two = double_transmission(first=sheet, second=sheet, film=even_film(fluid_response(layer=layer, **case)))
    w = 2.0 * np.pi * 60e3
    wave, body, spring = air.impedance_pa_s_per_m, 1j * w * mass, air.pressure_pa / 5e-7 / (1j * w)
    chain = 2.0 * wave * spring / ((wave + body) * (wave + body + 2.0 * spring))
    assert complex(two) == pytest.approx(complex(chain), rel=2e-3)


def test_in_plane_density_is_biots_for_a_slit() -> None:
    # Biot, JASA 28, 179 (1956): friction on the fluid between parallel walls 2 a apart is that of steady flow, 3
    # eta/a^2, times F(k), k = a sqrt(w/nu), which tends to 1 for a small k and to sqrt(i) k/3 for a large one.
    air = humid_air()
    frequency = 200e3
    w = 2.0 * np.pi * frequency
    thickness = np.array([1e-7, 1e-4, 1e-3])
    density = film_layer(air=air, thickness_m=thickness, frequency_hz=frequency).in_plane_density_kg_m3
    steady = 3.0 * air.kinematic_viscosity_m2_per_s * air.density_kg_m3 / (0.5 * thickness) ** 2
    friction = 1j * w * (density - air.density_kg_m3) / steady
    k = 0.5 * thickness * np.sqrt(w / air.kinematic_viscosity_m2_per_s)
    assert complex(friction[0]) == pytest.approx(1.0, rel=1e-3)
    # The next term of the expansion is 1 over k.
    np.testing.assert_allclose(friction[1:], np.sqrt(1j) * k[1:] / 3.0 + 1.0 / 3.0, rtol=0.01)


@pytest.mark.parametrize("squeeze_number", [1.0, 5.0, 10.0, 30.0, 100.0])
def test_a_strip_is_a_squeeze_film(squeeze_number: float) -> None:
    # A long plate of width b over an isothermal film of thickness d, open at its edges, moves up and down: spring and
    # damping over p0 b/d, with s^2 = 6 eta w b^2/(p0 d^2), after Griffin, Richardson and Yamanami, J. Basic Eng. 88,
    # 451 (1966), from memory:
    #     spring 1 - (sinh s + sin s)/(s (cosh s + cos s)),   damping (sinh s - sin s)/(s (cosh s + cos s)).
    air = humid_air()
    frequency, thickness = 1e3, 1e-6
    w = 2.0 * np.pi * frequency
    viscosity = air.kinematic_viscosity_m2_per_s * air.density_kg_m3
    width = thickness * np.sqrt(squeeze_number * air.pressure_pa / (12.0 * viscosity * w))
    layer = film_layer(air=air, thickness_m=thickness, frequency_hz=frequency)
    # p'' + k^2 p = k^2 K y/d along the film, p = 0 at the edges.
    k = w * np.sqrt(complex(layer.in_plane_density_kg_m3) / complex(layer.bulk_modulus_pa))
    force = complex(layer.bulk_modulus_pa) / air.pressure_pa * (1.0 - np.tan(0.5 * k * width) / (0.5 * k * width))
    s = np.sqrt(0.5 * squeeze_number)
    bottom = s * (np.cosh(s) + np.cos(s))
    spring, damping = 1.0 - (np.sinh(s) + np.sin(s)) / bottom, (np.sinh(s) - np.sin(s)) / bottom
    assert force.real == pytest.approx(spring, abs=1e-3)
    assert force.imag == pytest.approx(damping, abs=1e-3)


def viscous_gas_response(*, air: Air, thickness_m: float, frequency_hz: float, sin_theta: float) -> Response:
    """R and T of a film by the full equations of a viscous gas."""
    admittance = surface_admittance(air=air, sin_theta=sin_theta)
    impedances = viscous_gas_impedances(
        air=air, thickness_m=thickness_m, frequency_hz=frequency_hz, sin_theta=sin_theta
    )
    symmetric, antisymmetric = (impedance * admittance for impedance in impedances)
    bottom = (1.0 + symmetric) * (1.0 + antisymmetric)
    return Response(
        transmission=(symmetric - antisymmetric) / bottom, reflection=(symmetric * antisymmetric - 1.0) / bottom
    )


@pytest.mark.parametrize("frequency_hz", [60e3, 200e3, 500e3])
@pytest.mark.parametrize("thickness_m", [2e-6, 5e-6, 1e-5, 2e-5, 5e-5, 1e-4])
def test_film_is_that_of_the_full_equations(thickness_m: float, frequency_hz: float) -> None:
    # The slit model takes the pressure as even across the film; here it is not. An ideal gas has rho c^2 = g p0.
    room = humid_air()
    air = air_like(
        sound_speed_m_per_s=float(np.sqrt(room.heat_capacity_ratio * room.pressure_pa / room.density_kg_m3)),
        density_kg_m3=room.density_kg_m3,
    )
    layer = film_layer(air=air, thickness_m=thickness_m, frequency_hz=frequency_hz)
    for sin_theta in (0.0, 0.3, 0.8):
        case = {"air": air, "frequency_hz": frequency_hz, "sin_theta": sin_theta}
        exact = viscous_gas_response(thickness_m=thickness_m, **case)
        for mass in (0.017, 0.08, 0.4):
            sheet = limp_response(mass_kg_m2=mass, **case)
            two = [
                double_transmission(first=sheet, second=sheet, film=even_film(film))
                for film in (exact, fluid_response(layer=layer, **case))
            ]
            # Largest deviation found: 0.042 dB, at 100 um, 500 kHz and sin 0.8.
            assert 20.0 * np.log10(np.abs(two[1] / two[0])) == pytest.approx(0.0, abs=0.05)


def test_mass_air_mass_frequency_is_the_handbooks() -> None:
    # f0 = 60 sqrt((m + m')/(m m' d)), m in kg/m2 and d in m, as handbooks of building acoustics give it. Worked: two 9
    # mm plasterboards of 7.2 kg/m2, 50 mm apart (the double wall of Vigran, Building Acoustics, figure 8.3): 60
    # sqrt(2/(7.2 x 0.05)) = 141.4 Hz.
    air = humid_air()
    case = {"gap_m": 0.05, "bulk_modulus_pa": air.bulk_modulus_pa}
    assert mass_air_mass_frequency_hz(first_mass_kg_m2=7.2, second_mass_kg_m2=7.2, **case) == pytest.approx(
        141.4, rel=0.005
    )
    assert mass_air_mass_frequency_hz(first_mass_kg_m2=12.0, second_mass_kg_m2=7.2, **case) == pytest.approx(
        60.0 * np.sqrt(19.2 / (12.0 * 7.2 * 0.05)), rel=0.005
    )


def test_a_double_wall_lets_sound_pass_at_its_resonance() -> None:
    # The same wall: below the resonance the mass law of both boards, at it open, and above it the sum of both mass
    # laws and 20 lg(2 k d) (Long, Architectural Acoustics, equation 9.48, an approximation between resonance and
    # cavity modes).
    air = humid_air()
    resonance = float(
        mass_air_mass_frequency_hz(
            first_mass_kg_m2=7.2, second_mass_kg_m2=7.2, gap_m=0.05, bulk_modulus_pa=air.bulk_modulus_pa
        )
    )
    near = resonance * np.linspace(0.9, 1.1, 2001)

    def transmission(at: float | np.ndarray) -> np.ndarray:
        case = {"air": air, "frequency_hz": at, "sin_theta": 0.0}
        sheet = limp_response(mass_kg_m2=7.2, **case)
        film = fluid_response(layer=air_layer(air=air, thickness_m=0.05), **case)
        return np.abs(double_transmission(first=sheet, second=sheet, film=even_film(film)))

    peak = near[np.argmax(transmission(near))]
    assert peak == pytest.approx(resonance, rel=0.01)
    assert transmission(near).max() > 0.99
    low, high = 0.1 * resonance, 4.0 * resonance
    together = limp_response(mass_kg_m2=14.4, air=air, frequency_hz=low, sin_theta=0.0)
    assert transmission(low) == pytest.approx(float(np.abs(together.transmission)), rel=0.02)
    board = 20.0 * np.log10(
        np.abs(limp_response(mass_kg_m2=7.2, air=air, frequency_hz=high, sin_theta=0.0).transmission)
    )
    cavity = 20.0 * np.log10(2.0 * 2.0 * np.pi * high / air.sound_speed_m_per_s * 0.05)
    assert 20.0 * np.log10(transmission(high)) == pytest.approx(2.0 * board - cavity, abs=1.0)


def test_critical_film_is_where_a_double_resonates() -> None:
    # 12 um of polyester at 300 kHz, where the film is between isothermal (p0) and adiabatic (1.4 p0).
    air = humid_air()
    mass, frequency = 0.0167, 300e3
    critical = float(critical_film_m(mass_kg_m2=mass, air=air, frequency_hz=frequency))
    modulus = complex(film_layer(air=air, thickness_m=critical, frequency_hz=frequency).bulk_modulus_pa).real
    assert air.pressure_pa < modulus < air.bulk_modulus_pa
    resonance = mass_air_mass_frequency_hz(
        first_mass_kg_m2=mass, second_mass_kg_m2=mass, gap_m=critical, bulk_modulus_pa=modulus
    )
    assert resonance == pytest.approx(frequency, rel=1e-6)
    thickness = critical * np.geomspace(0.25, 4.0, 401)
    case = {"air": air, "frequency_hz": frequency, "sin_theta": 0.0}
    sheet = limp_response(mass_kg_m2=mass, **case)
    film = film_layer(air=air, thickness_m=thickness, frequency_hz=frequency)
    two = np.abs(double_transmission(first=sheet, second=sheet, film=even_film(fluid_response(layer=film, **case))))
    # Damping by the flow of heat to the walls pulls the peak in a little.
    assert thickness[np.argmax(two)] == pytest.approx(critical, rel=0.05)
