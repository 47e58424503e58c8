"""Two sheets with a film of air between them.

The film is thermo-viscous. Walls a distance d apart hold its temperature, and its motion along them, so that pressure
sees the bulk modulus K and motion along the film the density rho_x,

    K = rho c^2 / [g - (g - 1)(1 - tanh(y)/y)],   y = sqrt(i w d^2/(4 alpha))
    rho_x = rho / (1 - tanh(x)/x),                x = sqrt(i w d^2/(4 nu)),

with g the heat capacity ratio: isothermal and viscous when narrow, adiabatic and free when wide. Motion across the film
is that of its walls and sees the plain density rho.

References: slit: Stinson, JASA 89, 550 (1991); Allard and Atalla, Propagation of Sound in Porous Media, 2nd edition,
section 4.7; films between plates: Beltman, J. Sound Vib. 227, 555 (1999), the low reduced frequency model. The gas is
a continuum: slip at the walls is left out (effective viscosity lower by 6 mean free paths over d, a sixth at 2 um).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real, map_blocks
from sheetmargin_service.acoustics.fluid import FluidLayer
from sheetmargin_service.acoustics.response import Response, StackResponse


def film_layer(*, air: Air, thickness_m: Real, frequency_hz: Real) -> FluidLayer:
    """A film of air of thickness > 0 between two walls; `thickness_m` and `frequency_hz` broadcast."""
    square = 0.5j * np.pi * frequency_hz * np.square(thickness_m)
    return FluidLayer(
        thickness_m=thickness_m,
        density_kg_m3=air.density_kg_m3,
        in_plane_density_kg_m3=air.density_kg_m3 / _core_share(square / air.kinematic_viscosity_m2_per_s),
        bulk_modulus_pa=_film_modulus(air, square),
    )


def _film_modulus(air: Air, square: ComplexArray) -> ComplexArray:
    """Bulk modulus of a film, between isothermal and adiabatic, by i w d^2/4."""
    ratio, thermal = air.heat_capacity_ratio, _core_share(square / air.thermal_diffusivity_m2_per_s)
    return np.asarray(air.bulk_modulus_pa / (ratio - (ratio - 1.0) * thermal))


def double_transmission(
    *,
    first: Response | StackResponse,
    second: Response | StackResponse,
    film: Response,
    sheets_factor: Complex = 1.0,
    film_factor: Complex = 1.0,
) -> ComplexArray:
    """Pressure transmission from the lower face of `first` to the upper face of `second`, `film` between them.

    All three are responses between half-spaces of air (`fluid_response` of a film or of plain air), so the film's own
    impedance enters through its reflection. Shapes broadcast: give the film's thickness an axis of its own.

        T2 = T T' t / (1 - (R + R') r + R R' (r^2 - t^2))

    with R above the first, R' below the second, r and t of the film; in plain air t = e^(-i kz d), r = 0. The factors
    multiply the result, on arrays no larger than those of the sheets and of the film.
    """
    lower, upper = first.reflection_above, second.reflection_below
    transmission, film_r = film.transmission, film.reflection
    (result,) = map_blocks(
        _transmit,
        first.transmission * second.transmission * sheets_factor,
        lower + upper,
        lower * upper,
        transmission * film_factor,
        film_r,
        film_r * film_r - transmission * transmission,
        results=1,
    )
    return result


def double_response(
    *, first: Response | StackResponse, second: Response | StackResponse, film: Response
) -> StackResponse:
    """Transmission as `double_transmission` and both reflections, so that a pile can be built sheet by sheet."""
    lower, upper = first.reflection_above, second.reflection_below
    square = film.reflection * film.reflection - film.transmission * film.transmission
    scale = 1.0 / (1.0 - (lower + upper) * film.reflection + lower * upper * square)
    return StackResponse(
        transmission=first.transmission * second.transmission * film.transmission * scale,
        reflection_below=first.reflection_below + first.transmission**2 * (film.reflection - upper * square) * scale,
        reflection_above=second.reflection_above + second.transmission**2 * (film.reflection - lower * square) * scale,
    )


def mass_air_mass_frequency_hz(
    *, first_mass_kg_m2: Real, second_mass_kg_m2: Real, gap_m: Real, bulk_modulus_pa: Real
) -> NDArray[np.float64]:
    """Resonance of two limp sheets on the air between them, square on: sqrt(K/d (1/m + 1/m'))/(2 pi).

    For wide air K is `Air.bulk_modulus_pa`; 60 sqrt((m + m')/(m m' d)) of the handbooks of building acoustics.
    """
    stiffness = bulk_modulus_pa / gap_m
    return np.asarray(np.sqrt(stiffness * (1.0 / first_mass_kg_m2 + 1.0 / second_mass_kg_m2)) / (2.0 * np.pi))


def critical_film_m(*, mass_kg_m2: Real, air: Air, frequency_hz: Real) -> NDArray[np.float64]:
    """Film thickness d0 = 2 Re K(d0)/(m w^2) at which two limp sheets of mass m each resonate at the frequency.

    Below it the pair moves as one sheet of double mass; near it a double may be as loud as one sheet.
    """
    scale = 2.0 / (mass_kg_m2 * np.square(2.0 * np.pi * np.asarray(frequency_hz)))
    thickness = np.asarray(scale * air.pressure_pa)
    # K rises by 40 % over a decade of d, so each step cuts the error to a quarter or less.
    for _ in range(8):
        thickness = scale * _film_modulus(air, 0.5j * np.pi * frequency_hz * np.square(thickness)).real
    return np.asarray(thickness)


def _core_share(square: ComplexArray) -> ComplexArray:
    """1 - tanh(y)/y for y^2: the share of the film's motion, or of its temperature, that the walls leave."""
    root = np.sqrt(square)
    return np.asarray(1.0 - np.tanh(root) / root)


def _transmit(
    pair_t: ComplexArray,
    sum_r: ComplexArray,
    product_r: ComplexArray,
    film_t: ComplexArray,
    film_r: ComplexArray,
    film_square: ComplexArray,
    transmission: ComplexArray,
) -> None:
    bounces = product_r * film_square
    bounces -= sum_r * film_r
    bounces += 1.0
    np.multiply(pair_t, film_t, out=transmission)
    transmission /= bounces
