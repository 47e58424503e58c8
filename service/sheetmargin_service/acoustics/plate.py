"""One homogeneous sheet in air: exact reflection and transmission of a plane wave, in closed form.

The motion of a sheet with a mid-plane of symmetry splits into a symmetric part (the faces move apart) and an antisymmetric
one (the faces move together), each with its own surface impedance Zs, Za. With Yf the admittance of air at the angle,

    T = Yf (Zs - Za) / ((1 + Zs Yf)(1 + Za Yf))        R = (Zs Za Yf^2 - 1) / ((1 + Zs Yf)(1 + Za Yf)).

In a transversely isotropic solid two partial waves cos, sin(w p_j z) meet the free-shear condition on both faces.
Solving the two equations of motion for them gives, with s = sin^2(theta)/c^2, K = c11 c33 - c13^2, t = (K - 2 c13 c55)/(c33 c55),

    p_1^2, p_2^2 = (rho/c33 + rho/c55 - t s)/2 +- D
    D^2 = ((rho/c33 - rho/c55)/2)^2 + s (rho/c33 (1 + c11/c55) - t (rho/c33 + rho/c55)/2) + s^2 (t^2/4 - c11/c33)
    M = (rho^2 (1 - c33/c55) + rho s (2 (c13 + c33) + K/c55) - 2 K s^2) / (2 c33)
    Zs = -i sum a_j cot(w p_j h/2),   Za = i sum a_j tan(w p_j h/2),   a_1,2 = (rho/2 +- M/(2 D))/p_1,2.

None of these divides by sin(theta) or by c13 + c55; for an isotropic solid p_1, p_2 become the vertical slownesses of the
longitudinal and the shear wave and Zs, Za the Rayleigh-Lamb expressions. The slownesses and a_j depend on neither frequency nor
thickness, so they are computed on the smaller grid of sheets and angles; the decaying exponentials E_j = e^(-i w p_j h) serve
for every function of p_j: cot = i (1+E)/(1-E), and Zs - Za = 4 sum a_j E_j/(1 - E_j^2) keeps its relative accuracy in a thick sheet.

References: Rayleigh-Lamb plate: Graff, Wave Motion in Elastic Solids, chapter 8; Christoffel equation in a plane of symmetry:
Rose, Ultrasonic Waves in Solid Media, chapter 15. The form above is derived here; tests hold it to independent solutions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetmargin_service.acoustics.air import Air, surface_admittance

# Where the two partial waves coincide, the formulas are a limit 0/0. The roots are kept this far apart, relative to their
# sum: the divided difference is then off by the square of it, and rounding by the unit roundoff over it.
_LEAST_SEPARATION = 1e-5


@dataclass(frozen=True, kw_only=True)
class Response:
    """Pressure transmission from face to face, and reflection, of a sheet that is the same from both sides."""

    transmission: NDArray[np.complex128]
    reflection: NDArray[np.complex128]

    @property
    def reflection_below(self) -> NDArray[np.complex128]:
        return self.reflection

    @property
    def reflection_above(self) -> NDArray[np.complex128]:
        return self.reflection


@dataclass(frozen=True, kw_only=True)
class ElasticPlate:
    """A transversely isotropic sheet, symmetry axis through the thickness. Fields may be arrays that broadcast together.

    Complex stiffnesses c(1 + i loss), loss >= 0, under the time factor e^(+i w t).
    """

    thickness_m: ArrayLike
    density_kg_m3: ArrayLike
    c11_pa: ArrayLike
    c13_pa: ArrayLike
    c33_pa: ArrayLike
    c55_pa: ArrayLike

    @property
    def mass_kg_m2(self) -> NDArray[np.float64]:
        return np.asarray(self.thickness_m, dtype=np.float64) * self.density_kg_m3


def isotropic_plate(
    *,
    thickness_m: ArrayLike,
    density_kg_m3: ArrayLike,
    youngs_modulus_pa: ArrayLike,
    poisson_ratio: ArrayLike,
    loss_factor: ArrayLike = 0.0,
) -> ElasticPlate:
    """An isotropic sheet; one loss factor for every modulus, Poisson's ratio real and below 0.5."""
    ratio = np.asarray(poisson_ratio, dtype=np.float64)
    young = np.asarray(youngs_modulus_pa) * (1.0 + 1j * np.asarray(loss_factor, dtype=np.float64))
    shear = young / (2.0 * (1.0 + ratio))
    lame = young * ratio / ((1.0 + ratio) * (1.0 - 2.0 * ratio))
    longitudinal = lame + 2.0 * shear
    return ElasticPlate(
        thickness_m=thickness_m,
        density_kg_m3=density_kg_m3,
        c11_pa=longitudinal,
        c13_pa=lame,
        c33_pa=longitudinal,
        c55_pa=shear,
    )


def plate_from_speeds(
    *,
    thickness_m: ArrayLike,
    density_kg_m3: ArrayLike,
    longitudinal_speed_m_per_s: ArrayLike,
    shear_speed_m_per_s: ArrayLike,
    loss_factor: ArrayLike = 0.0,
) -> ElasticPlate:
    """An isotropic sheet by its bulk wave speeds; `loss_factor` is that of the moduli, twice that of the speeds."""
    modulus = np.asarray(density_kg_m3) * (1.0 + 1j * np.asarray(loss_factor, dtype=np.float64))
    longitudinal = modulus * np.asarray(longitudinal_speed_m_per_s) ** 2
    shear = modulus * np.asarray(shear_speed_m_per_s) ** 2
    return ElasticPlate(
        thickness_m=thickness_m,
        density_kg_m3=density_kg_m3,
        c11_pa=longitudinal,
        c13_pa=longitudinal - 2.0 * shear,
        c33_pa=longitudinal,
        c55_pa=shear,
    )


def plate_response(*, plate: ElasticPlate, air: Air, frequency_hz: ArrayLike, sin_theta: ArrayLike) -> Response:
    """Reflection and transmission of `plate` between two half-spaces of `air`.

    `frequency_hz`, `sin_theta` (angle of incidence from the normal; above 1 the wave is evanescent) and the plate's fields
    broadcast together to the shape of the result. A stiffness may not be zero. Cheapest when frequency has an axis of its own.
    """
    sine = np.asarray(sin_theta, dtype=np.float64)
    root_1, root_2, weight_1, weight_2 = partial_waves(plate=plate, square_slowness=(sine / air.sound_speed_m_per_s) ** 2)
    admittance = surface_admittance(air=air, sin_theta=sine)
    travel = -2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64) * plate.thickness_m
    # Scaled by the admittance here, on the smaller grid, so that the large arrays below are in units of the air's impedance.
    symmetric, antisymmetric, difference = _impedances(travel * root_1, weight_1 * admittance)
    symmetric_2, antisymmetric_2, difference_2 = _impedances(travel * root_2, weight_2 * admittance)
    symmetric += symmetric_2
    antisymmetric += antisymmetric_2
    difference += difference_2
    product = symmetric * antisymmetric
    product -= 1.0
    symmetric += 1.0
    antisymmetric += 1.0
    symmetric *= antisymmetric
    scale = np.reciprocal(symmetric)
    difference *= scale
    product *= scale
    return Response(transmission=difference, reflection=product)


def limp_response(*, mass_kg_m2: ArrayLike, air: Air, frequency_hz: ArrayLike, sin_theta: ArrayLike) -> Response:
    """The mass law: a sheet of mass alone, Zs infinite and Za = i w m/2. Arguments broadcast together."""
    admittance = surface_admittance(air=air, sin_theta=np.asarray(sin_theta, dtype=np.float64))
    impedance = 1j * np.pi * np.asarray(frequency_hz, dtype=np.float64) * mass_kg_m2 * admittance
    transmission = 1.0 / (1.0 + impedance)
    return Response(transmission=transmission, reflection=impedance * transmission)


def partial_waves(
    *, plate: ElasticPlate, square_slowness: NDArray[np.float64]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128], NDArray[np.complex128], NDArray[np.complex128]]:
    """i p_1, i p_2 with real parts >= 0, and a_1, a_2 of the module's notes; `square_slowness` is s in s^2/m^2."""
    density = np.asarray(plate.density_kg_m3, dtype=np.float64)
    c11, c13, c33, c55 = (np.asarray(c) for c in (plate.c11_pa, plate.c13_pa, plate.c33_pa, plate.c55_pa))
    minor = c11 * c33 - c13 * c13
    coupling = (minor - 2.0 * c13 * c55) / (c33 * c55)
    longitudinal, shear = density / c33, density / c55
    s = square_slowness
    mean = 0.5 * (longitudinal + shear - coupling * s)
    square_difference = (
        (0.5 * (longitudinal - shear)) ** 2
        + s * (longitudinal * (1.0 + c11 / c55) - 0.5 * coupling * (longitudinal + shear))
        + s * s * (0.25 * coupling**2 - c11 / c33)
    )
    floor = (_LEAST_SEPARATION * (longitudinal.real + shear.real)) ** 2
    square_difference = np.where(np.abs(square_difference) < floor, floor, square_difference)
    difference = np.sqrt(square_difference + 0j)
    mixed = (
        density * density * (1.0 - c33 / c55) + s * (density * (2.0 * (c13 + c33) + minor / c55) - 2.0 * s * minor)
    ) / (4.0 * c33 * difference)
    roots = []
    for square in (mean + difference, mean - difference):
        # A partial wave that grazes exactly has a finite limit; keep it a rounding error away from 0/0.
        square = np.where(np.abs(square) < 1e-30, 1e-30, square)
        roots.append(np.sqrt(-square))
    return roots[0], roots[1], 1j * (0.5 * density + mixed) / roots[0], 1j * (0.5 * density - mixed) / roots[1]


def _impedances(
    exponent: NDArray[np.complex128], weight: NDArray[np.complex128]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128], NDArray[np.complex128]]:
    """One partial wave's shares of Zs, Za and Zs - Za from -i w p h and a."""
    decay = np.exp(exponent)
    plus = 1.0 + decay
    minus = 1.0 - decay
    common = plus * minus
    np.reciprocal(common, out=common)
    common *= weight
    decay *= common
    decay *= 4.0
    np.square(plus, out=plus)
    plus *= common
    np.square(minus, out=minus)
    minus *= common
    return plus, minus, decay
