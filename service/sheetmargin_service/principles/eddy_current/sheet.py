"""The quasi-static magnetic field of one spatial frequency through conductive layers.

A coil above a flat sheet makes a field A(rho, z) = int a(k) J1(k rho) e^(-k z) dk, and each k passes the sheet by
itself (Dodd and Deeds, Analytical solutions to eddy-current probe-coil problems, J. Appl. Phys. 39, 2829, 1968). In a
layer of conductivity sigma and permeability mu_r mu_0 the decay is g = sqrt(k^2 + i w mu sigma) instead of k, and the
interface sends back r = (1 - q)/(1 + q), q = g/(mu_r k). A layer of thickness t then has, from face to face,
    T = (1 - r^2) e^(-g t) / (1 - r^2 e^(-2 g t)) = 1 / [cosh(g t) + (q + 1/q) sinh(g t)/2]
    R = r (1 - e^(-2 g t)) / (1 - r^2 e^(-2 g t)).
The left forms hold only falling exponentials: 8 mm of steel at 1 MHz underflows to nothing instead of overflowing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.principles.layer_stack import Layer

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

MU_0 = 4e-7 * np.pi
"""Magnetic constant in H/m (SI to 2019; CODATA 2018 differs by 5e-10)."""


def skin_depth_m(*, resistivity_ohm_m: float, relative_permeability: float, frequency_hz: float) -> float:
    """Depth at which a plane field has fallen to 1/e: sqrt(2 rho / (w mu)). Any electromagnetics text."""
    return float(np.sqrt(resistivity_ohm_m / (np.pi * frequency_hz * MU_0 * relative_permeability)))


def conductive_layer(
    *, thickness_m: Array, resistivity_ohm_m: Array, relative_permeability: Array, frequency_hz: float, k_per_m: Array
) -> Layer[Complex]:
    """A conductive layer at spatial frequencies `k_per_m`; the arguments broadcast, and so does the layer's shape."""
    mu = relative_permeability
    decay: Complex = np.sqrt(k_per_m**2 + 2j * np.pi * frequency_hz * MU_0 * mu / resistivity_ohm_m)
    ratio = decay / (mu * k_per_m)
    r = (1.0 - ratio) / (1.0 + ratio)
    once = np.exp(-decay * thickness_m)
    bounces = 1.0 / (1.0 - (r * once) ** 2)
    reflected = r * (1.0 - once**2) * bounces
    return Layer(passed=(1.0 - r**2) * once * bounces, front=reflected, back=reflected)


def empty_layer(*, thickness_m: Array, k_per_m: Array) -> Layer[Complex]:
    """Air, or anything that neither conducts nor magnetises: the field falls as e^(-k t) and nothing comes back."""
    passed = np.exp(-k_per_m * thickness_m).astype(np.complex128)
    nothing = np.zeros_like(passed)
    return Layer(passed=passed, front=nothing, back=nothing)
