"""Coaxial coils of rectangular section: how their coupling is spread over spatial frequency.

Dodd and Deeds 1968 (J. Appl. Phys. 39, 2829), with I(x1, x2) = int x J1(x) dx from x1 to x2: two equal coils of radii
r1 to r2 and length l, their near faces d apart, couple as
    M = pi mu_0 n^2 / ((r2 - r1)^2 l^2) int [I(k r1, k r2)]^2 / k^6 (1 - e^(-k l))^2 e^(-k d) dk.
The coil's own inductance has 2 (k l - 1 + e^(-k l)) in place of (1 - e^(-k l))^2 e^(-k d).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, j1, struve

from sheetmargin_service.principles.eddy_current.parameters import EddyCurrentParameters

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Coil:
    """A winding of rectangular section, one turn a unit of current: its field, not its ampere-turns, matters here."""

    inner_radius_m: float
    outer_radius_m: float
    length_m: float


def coil_of(parameters: EddyCurrentParameters) -> Coil:
    return Coil(
        inner_radius_m=parameters.coil_inner_radius_mm * 1e-3,
        outer_radius_m=parameters.coil_outer_radius_mm * 1e-3,
        length_m=parameters.coil_length_mm * 1e-3,
    )


def radial_moment(x: Array) -> Array:
    """int_0^x u J1(u) du = (pi x / 2) [J1(x) H0(x) - J0(x) H1(x)] (Abramowitz and Stegun 11.1.7, with Struve's H)."""
    moment: Array = 0.5 * np.pi * x * (j1(x) * struve(0, x) - j0(x) * struve(1, x))
    return moment


def spectrum(coil: Coil, k_per_m: Array) -> Array:
    """[I(k r1, k r2)]^2 (1 - e^(-k l))^2 / k^6, in m^6 and of the shape of `k_per_m` (above 0)."""
    radial = radial_moment(k_per_m * coil.outer_radius_m) - radial_moment(k_per_m * coil.inner_radius_m)
    axial = -np.expm1(-k_per_m * coil.length_m)
    result: Array = (radial * axial / k_per_m**3) ** 2
    return result


def self_coupling(coil: Coil) -> float:
    """int [I(k r1, k r2)]^2 / k^6 2 (k l - 1 + e^(-k l)) dk in m^5, the coil's own inductance; adaptive quadrature."""

    inner, length = coil.inner_radius_m / coil.outer_radius_m, coil.length_m / coil.outer_radius_m

    def integrand(x: float) -> float:
        radial = radial_moment(np.asarray(x)) - radial_moment(np.asarray(x * inner))
        return float(2.0 * radial**2 * (x * length + np.expm1(-x * length)) / x**6)

    from scipy.integrate import quad

    # The integrand falls as x^-4: what lies beyond 200 is below 1e-6 of the whole.
    value, _ = quad(integrand, 1e-3, 200.0, limit=500, epsabs=0.0, epsrel=1e-7)
    return float(value * coil.outer_radius_m**5)


def nodes(coil: Coil, *, distance_m: Array, count: int) -> tuple[Array, Array]:
    """Spatial frequencies (K,) in 1/m and weights (N, K) in m^5 of the coupling of two coils `distance_m` (N,) apart.

    sum(weights) is the integral in the module's formula. Gauss-Legendre from 0 to where e^(-k d) of the nearest
    distance has fallen to 1e-13.
    """
    x, w = np.polynomial.legendre.leggauss(count)
    top = 30.0 / float(distance_m.min())
    k = 0.5 * top * (x + 1.0)
    return k, 0.5 * top * w * spectrum(coil, k) * np.exp(-k * distance_m[:, None])
