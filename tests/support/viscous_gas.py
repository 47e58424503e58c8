"""A layer of viscous, heat-conducting gas between two walls by the full linear equations, to compare films with."""

from __future__ import annotations

from functools import cache

import numpy as np
from sheetmargin_service.acoustics.air import Air

_NODES = 36


@cache
def viscous_gas_impedances(
    *, air: Air, thickness_m: float, frequency_hz: float, sin_theta: float
) -> tuple[complex, complex]:
    """Zs and Za in Pa s/m of a layer of viscous, heat-conducting ideal gas between walls that do not slide.

    The linear equations of Navier, Stokes and Fourier for a wave e^(-i kx x), by Chebyshev collocation across it. The
    walls hold the gas's velocity along them at 0 and its temperature constant; the impedance is the normal stress
    on a wall over its velocity into the layer, of walls that move against each other (Zs) and together (Za).
    """
    n = _NODES
    x = np.cos(np.pi * np.arange(n + 1) / n)
    c = np.where((np.arange(n + 1) == 0) | (np.arange(n + 1) == n), 2.0, 1.0) * (-1.0) ** np.arange(n + 1)
    d = np.outer(c, 1.0 / c) / (x[:, None] - x[None, :] + np.eye(n + 1))
    d -= np.diag(d.sum(axis=1))
    d *= 2.0 / thickness_m
    w = 2.0 * np.pi * frequency_hz
    gradient = -1j * w / air.sound_speed_m_per_s * sin_theta
    ratio = air.heat_capacity_ratio
    pressure = air.density_kg_m3 * air.sound_speed_m_per_s**2 / ratio
    viscosity = air.kinematic_viscosity_m2_per_s * air.density_kg_m3
    one, zero = np.eye(n + 1), np.zeros((n + 1, n + 1))
    diffusion = d @ d + gradient**2 * one
    # Pressure over p0 from temperature t over T0 and divergence: p = t - div/(i w). Rows act on (u, v, t).
    divergence = np.hstack([gradient * one, d, zero])
    p = pressure * (np.hstack([zero, zero, one]) - divergence / (1j * w))
    inertia = 1j * w * air.density_kg_m3
    along = np.hstack([inertia * one - viscosity * diffusion, zero, zero]) + gradient * (
        p - viscosity / 3.0 * divergence
    )
    across = np.hstack([zero, inertia * one - viscosity * diffusion, zero]) + d @ (p - viscosity / 3.0 * divergence)
    # rho cp T0 (i w - alpha diffusion) t = i w p, with rho cp T0 = g/(g - 1) p0.
    heat = np.hstack([zero, zero, 1j * w * one - air.thermal_diffusivity_m2_per_s * diffusion])
    heat = ratio / (ratio - 1.0) * pressure * heat - 1j * w * p
    system = np.vstack([along, across, heat])
    for block in range(3):
        for edge in (0, n):
            row = block * (n + 1) + edge
            system[row] = 0.0
            system[row, row] = 1.0
    scale = np.abs(system).max(axis=1)
    # x runs from the top wall (index 0) to the bottom wall (index n). Velocity into the layer is down at the top.
    impedances = []
    for top, bottom in ((-1.0, 1.0), (1.0, 1.0)):
        right = np.zeros(3 * (n + 1), dtype=np.complex128)
        right[n + 1], right[2 * n + 1] = top, bottom
        field = np.linalg.solve(system / scale[:, None], right / scale)
        stress = (
            p @ field
            - 2.0 * viscosity * (np.hstack([zero, d, zero]) @ field)
            + 2.0 / 3.0 * viscosity * (divergence @ field)
        )
        impedances.append(complex(stress[n]))
    return impedances[0], impedances[1]
