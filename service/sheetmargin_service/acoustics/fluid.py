"""A layer of fluid between two half-spaces of air: wide air, a thermo-viscous film, the air in pores.

A fluid may differ along the layer and across it: a narrow film is held by its walls along them and not across. With
rho the density for motion across the layer, rho_x for motion along it and K the bulk modulus, pressure p(z) e^(-i kx x)
obeys

    p'' + kz^2 p = 0,   kz^2 = rho (w^2/K - kx^2/rho_x),   impedance Z = w rho/kz,

and the layer acts as a sheet with Zs = -i Z cot(kz d/2), Za = i Z tan(kz d/2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air, surface_admittance
from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real, map_blocks
from sheetmargin_service.acoustics.response import Response, impedance_shares, scatter


@dataclass(frozen=True, kw_only=True)
class FluidLayer:
    """A layer of fluid, at the frequencies its moduli were computed for. Fields may be arrays that broadcast."""

    thickness_m: Real
    density_kg_m3: Complex
    in_plane_density_kg_m3: Complex
    bulk_modulus_pa: Complex


def air_layer(*, air: Air, thickness_m: Real) -> FluidLayer:
    """Lossless air, wide enough for its walls not to matter."""
    return FluidLayer(
        thickness_m=thickness_m,
        density_kg_m3=air.density_kg_m3,
        in_plane_density_kg_m3=air.density_kg_m3,
        bulk_modulus_pa=air.bulk_modulus_pa,
    )


def fluid_response(*, layer: FluidLayer, air: Air, frequency_hz: Real, sin_theta: Complex) -> Response:
    """Reflection and transmission of a fluid layer between half-spaces of `air`; arguments broadcast."""
    root, weight = fluid_wave(layer=layer, slowness_s_per_m=sin_theta / air.sound_speed_m_per_s)
    transmission, reflection = map_blocks(
        _respond,
        -2.0 * np.pi * frequency_hz * layer.thickness_m,
        root,
        weight * surface_admittance(air=air, sin_theta=sin_theta),
        results=2,
    )
    return Response(transmission=transmission, reflection=reflection)


def fluid_wave(*, layer: FluidLayer, slowness_s_per_m: Complex) -> tuple[ComplexArray, ComplexArray]:
    """i kz/w, with a real part >= 0, and the impedance Z, at an in-plane slowness sin(theta)/c."""
    density = layer.density_kg_m3
    slowness = np.sqrt(np.asarray(density / layer.bulk_modulus_pa, dtype=np.complex128))
    square = density * np.square(slowness_s_per_m) / layer.in_plane_density_kg_m3 - np.square(slowness)
    root: ComplexArray = np.sqrt(square)
    # Grazing exactly, Z is infinite while the layer's T and R have limits: it is kept a millionth of a radian away.
    root = np.where(np.abs(root) < 1e-6 * np.abs(slowness), 1e-6 * slowness, root)
    return root, 1j * density / root


def _respond(
    travel: NDArray[np.float64],
    root: ComplexArray,
    weight: ComplexArray,
    transmission: ComplexArray,
    reflection: ComplexArray,
) -> None:
    scatter(*impedance_shares(travel * root, weight), transmission, reflection)
