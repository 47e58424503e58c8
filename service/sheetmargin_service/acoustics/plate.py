"""One homogeneous sheet in air: exact reflection and transmission of a plane wave, in closed form.

The motion of a sheet with a mid-plane of symmetry splits into a symmetric part (the faces move apart) and an
antisymmetric one (the faces move together), each with its own surface impedance Zs, Za. With Yf the admittance of air
at the angle of incidence,

    T = Yf (Zs - Za) / ((1 + Zs Yf)(1 + Za Yf))        R = (Zs Za Yf^2 - 1) / ((1 + Zs Yf)(1 + Za Yf)).

In a transversely isotropic solid two partial waves, cos or sin(w p_j z), meet the free-shear condition on both faces.
Solving the equations of motion for them gives, with s = sin^2(theta)/c^2, K = c11 c33 - c13^2 and
t = (K - 2 c13 c55)/(c33 c55),

    p_1^2, p_2^2 = (rho/c33 + rho/c55 - t s)/2 +- D
    D^2 = ((rho/c33 - rho/c55)/2)^2 + s (rho/c33 (1 + c11/c55) - t (rho/c33 + rho/c55)/2) + s^2 (t^2/4 - c11/c33)
    M = (rho^2 (1 - c33/c55) + rho s (2 (c13 + c33) + K/c55) - 2 K s^2) / (4 c33)
    Zs = -i sum a_j cot(w p_j h/2),   Za = i sum a_j tan(w p_j h/2),   a_1,2 = (rho/2 +- M/D)/p_1,2.

Nothing here is divided by sin(theta) or by c13 + c55. For an isotropic solid p_1, p_2 are the vertical slownesses of
the longitudinal and the shear wave, and Zs, Za the Rayleigh-Lamb expressions. p_j and a_j depend on neither frequency
nor thickness, so they live on the smaller grid of sheets and angles. One decaying exponential E_j = e^(-i w p_j h)
serves every function of p_j: cot = i (1+E)/(1-E), and Zs - Za = 4 sum a_j E_j/(1 - E_j^2) keeps its relative accuracy
however thick the sheet.

References: Rayleigh-Lamb plate: Graff, Wave Motion in Elastic Solids, chapter 8; waves in a plane of symmetry: Rose,
Ultrasonic Waves in Solid Media, chapter 15. The form above is derived here; tests hold it to independent solutions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air, surface_admittance
from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real, map_blocks
from sheetmargin_service.acoustics.response import Response, impedance_shares, scatter

# Where the two partial waves coincide, M/D and with it Zs, Za are a limit 0/0. The roots are kept this far apart,
# relative to their sum: the divided difference is then off by the square of it, rounding by the unit roundoff over it.
_LEAST_SEPARATION = 1e-5

# A partial wave that grazes exactly has a finite limit too. Its squared slowness (s^2/m^2) is kept this far from zero,
# a millionth of a radian in the fastest solids.
_LEAST_SQUARE = 1e-22


@dataclass(frozen=True, kw_only=True)
class ElasticPlate:
    """A transversely isotropic sheet, its axis of symmetry through the thickness. Fields may be arrays that broadcast.

    Stiffnesses are c (1 + i loss) with loss >= 0, under the time factor e^(+i w t), and never zero.
    """

    thickness_m: Real
    density_kg_m3: Real
    c11_pa: Complex
    c13_pa: Complex
    c33_pa: Complex
    c55_pa: Complex


def isotropic_plate(
    *,
    thickness_m: Real,
    density_kg_m3: Real,
    youngs_modulus_pa: Real,
    poisson_ratio: Real,
    loss_factor: Real = 0.0,
) -> ElasticPlate:
    """An isotropic sheet; one loss factor for every modulus, Poisson's ratio real and below 0.5."""
    young = youngs_modulus_pa * (1.0 + 1j * loss_factor)
    shear = young / (2.0 * (1.0 + poisson_ratio))
    lame = young * poisson_ratio / ((1.0 + poisson_ratio) * (1.0 - 2.0 * poisson_ratio))
    return _isotropic(thickness_m, density_kg_m3, lame + 2.0 * shear, shear)


def plate_from_speeds(
    *,
    thickness_m: Real,
    density_kg_m3: Real,
    longitudinal_speed_m_per_s: Real,
    shear_speed_m_per_s: Real,
    loss_factor: Real = 0.0,
) -> ElasticPlate:
    """An isotropic sheet by its bulk wave speeds; `loss_factor` is that of the moduli, twice that of the speeds."""
    modulus = density_kg_m3 * (1.0 + 1j * loss_factor)
    return _isotropic(
        thickness_m, density_kg_m3, modulus * longitudinal_speed_m_per_s**2, modulus * shear_speed_m_per_s**2
    )


def plate_response(*, plate: ElasticPlate, air: Air, frequency_hz: Real, sin_theta: Complex) -> Response:
    """Reflection and transmission of `plate` between two half-spaces of `air`.

    `frequency_hz`, `sin_theta` (of the angle from the normal; above 1 the wave is evanescent) and the plate's fields
    broadcast to the shape of the result. Cheapest when frequency has an axis of its own.
    """
    root_1, root_2, weight_1, weight_2 = partial_waves(
        plate=plate, slowness_s_per_m=sin_theta / air.sound_speed_m_per_s
    )
    # Weights in units of the air's impedance, on the smaller grid.
    admittance = surface_admittance(air=air, sin_theta=sin_theta)
    travel = -2.0 * np.pi * frequency_hz * plate.thickness_m
    transmission, reflection = map_blocks(
        _respond, travel, root_1, root_2, weight_1 * admittance, weight_2 * admittance, results=2
    )
    return Response(transmission=transmission, reflection=reflection)


def limp_response(*, mass_kg_m2: Real, air: Air, frequency_hz: Real, sin_theta: Complex) -> Response:
    """The mass law: a sheet of mass alone, Zs infinite and Za = i w m/2. Arguments broadcast."""
    impedance = 1j * np.pi * frequency_hz * mass_kg_m2 * surface_admittance(air=air, sin_theta=sin_theta)
    transmission = np.asarray(1.0 / (1.0 + impedance))
    return Response(transmission=transmission, reflection=impedance * transmission)


def partial_waves(*, plate: ElasticPlate, slowness_s_per_m: Complex) -> tuple[ComplexArray, ...]:
    """i p_1, i p_2, with real parts >= 0, and a_1, a_2 of the module's notes, at an in-plane slowness sin(theta)/c."""
    density, minor = plate.density_kg_m3, _minor(plate)
    c13, c33, c55 = plate.c13_pa, plate.c33_pa, plate.c55_pa
    root_1, root_2, difference = vertical_slownesses(plate=plate, slowness_s_per_m=slowness_s_per_m)
    weight_1, weight_2 = map_blocks(
        _weights,
        slowness_s_per_m,
        root_1,
        root_2,
        difference,
        0.5 * density,
        density * density * (1.0 - c33 / c55) / (4.0 * c33),
        density * (2.0 * (c13 + c33) + minor / c55) / (4.0 * c33),
        -0.5 * minor / c33,
        results=2,
    )
    return root_1, root_2, weight_1, weight_2


def vertical_slownesses(*, plate: ElasticPlate, slowness_s_per_m: Complex) -> tuple[ComplexArray, ...]:
    """i p_1, i p_2 with real parts >= 0, and D = (p_1^2 - p_2^2)/2 to full relative accuracy."""
    c11, c13, c33, c55 = plate.c11_pa, plate.c13_pa, plate.c33_pa, plate.c55_pa
    coupling = 0.5 * (_minor(plate) - 2.0 * c13 * c55) / (c33 * c55)
    longitudinal, shear = plate.density_kg_m3 / c33, plate.density_kg_m3 / c55
    # Complex even where the solid is lossless: a partial wave may still decay.
    mean = 0.5 * (longitudinal + shear) + 0j
    return map_blocks(
        _vertical_slownesses,
        slowness_s_per_m,
        mean,
        coupling,
        (0.5 * (longitudinal - shear)) ** 2 + 0j,
        longitudinal * (1.0 + c11 / c55) - 2.0 * coupling * mean,
        coupling**2 - c11 / c33,
        results=3,
    )


def _minor(plate: ElasticPlate) -> Complex:
    return plate.c11_pa * plate.c33_pa - plate.c13_pa * plate.c13_pa


def _isotropic(thickness: Real, density: Real, longitudinal: Complex, shear: Complex) -> ElasticPlate:
    return ElasticPlate(
        thickness_m=thickness,
        density_kg_m3=density,
        c11_pa=longitudinal,
        c13_pa=longitudinal - 2.0 * shear,
        c33_pa=longitudinal,
        c55_pa=shear,
    )


def _vertical_slownesses(
    slowness: ComplexArray,
    mean: ComplexArray,
    coupling: ComplexArray,
    difference_0: ComplexArray,
    difference_1: ComplexArray,
    difference_2: ComplexArray,
    root_1: ComplexArray,
    root_2: ComplexArray,
    difference: ComplexArray,
) -> None:
    square = slowness * slowness
    middle = mean - coupling * square
    squared = difference_0 + square * (difference_1 + square * difference_2)
    least = np.square(2.0 * _LEAST_SEPARATION * mean.real)
    np.copyto(squared, least, where=np.abs(squared) < least)
    np.sqrt(squared, out=difference)
    for sign, root in ((1.0, root_1), (-1.0, root_2)):
        vertical = -middle - sign * difference
        np.copyto(vertical, _LEAST_SQUARE, where=np.abs(vertical) < _LEAST_SQUARE)
        np.sqrt(vertical, out=root)


def _weights(
    slowness: ComplexArray,
    root_1: ComplexArray,
    root_2: ComplexArray,
    difference: ComplexArray,
    half_density: NDArray[np.float64],
    mixed_0: ComplexArray,
    mixed_1: ComplexArray,
    mixed_2: ComplexArray,
    weight_1: ComplexArray,
    weight_2: ComplexArray,
) -> None:
    square = slowness * slowness
    mixed = (mixed_0 + square * (mixed_1 + square * mixed_2)) / difference
    np.divide(1j * (half_density + mixed), root_1, out=weight_1)
    np.divide(1j * (half_density - mixed), root_2, out=weight_2)


def _respond(
    travel: NDArray[np.float64],
    root_1: ComplexArray,
    root_2: ComplexArray,
    weight_1: ComplexArray,
    weight_2: ComplexArray,
    transmission: ComplexArray,
    reflection: ComplexArray,
) -> None:
    symmetric, antisymmetric, difference = impedance_shares(travel * root_1, weight_1)
    symmetric_2, antisymmetric_2, difference_2 = impedance_shares(travel * root_2, weight_2)
    symmetric += symmetric_2
    antisymmetric += antisymmetric_2
    difference += difference_2
    scatter(symmetric, antisymmetric, difference, transmission, reflection)
