"""Independent solutions for elastic plates and layers of fluid in air, to compare with."""

from __future__ import annotations

from collections.abc import Sequence

import mpmath as mp
import numpy as np
import pymls
import pymls.layers.elastic
from mediapack import Air as PymlsAir
from mediapack import Elastic, Fluid
from sheetmargin_service.acoustics.air import Air, humid_air
from sheetmargin_service.acoustics.fluid import FluidLayer
from sheetmargin_service.acoustics.plate import ElasticPlate

# The solver prints a matrix for every elastic layer.
pymls.layers.elastic.print = lambda *_: None


def air_like(*, sound_speed_m_per_s: float, density_kg_m3: float) -> Air:
    """Air of a given speed and density; its other properties are those of room air."""
    room = humid_air()
    return Air(
        temperature_c=room.temperature_c,
        relative_humidity_pct=room.relative_humidity_pct,
        pressure_kpa=room.pressure_kpa,
        sound_speed_m_per_s=sound_speed_m_per_s,
        density_kg_m3=density_kg_m3,
        heat_capacity_ratio=room.heat_capacity_ratio,
        kinematic_viscosity_m2_per_s=room.kinematic_viscosity_m2_per_s,
        thermal_diffusivity_m2_per_s=room.thermal_diffusivity_m2_per_s,
    )


PYMLS_AIR = air_like(sound_speed_m_per_s=float(PymlsAir.c), density_kg_m3=float(PymlsAir.rho))
"""The air that `pymls` has outside the layers."""


def solve_pymls(
    layers: Sequence[ElasticPlate | FluidLayer], *, frequency_hz: float, angle_deg: float
) -> tuple[complex, complex]:
    """Reflection from the side of the first layer, and transmission, of isotropic elastic and lossless fluid layers.

    It is singular at exactly 0 degrees.
    """
    stack = []
    for layer in layers:
        if isinstance(layer, ElasticPlate):
            lame, shear = complex(layer.c13_pa), complex(layer.c55_pa)
            medium = Elastic(E=1.0, nu=0.3, rho=layer.density_kg_m3, eta=0.0, lambda_=lame, mu=shear)
        else:
            speed = float(np.sqrt(layer.bulk_modulus_pa / layer.density_kg_m3))
            medium = Fluid(rho=layer.density_kg_m3, c=speed)
        stack.append(pymls.Layer(medium, layer.thickness_m))
    solver = pymls.Solver(layers=stack, backing=pymls.backing.transmission)
    result = solver.solve([frequency_hz], [angle_deg])
    return complex(result["R"][0]), complex(result["T"][0])


def solve_exactly(
    plate: ElasticPlate, *, air: Air, frequency_hz: float, angle_deg: float, digits: int = 50
) -> tuple[mp.mpc, mp.mpc]:
    """Reflection and transmission of an isotropic plate by the Rayleigh-Lamb expressions of the textbooks.

    With k_z, s_z the vertical wavenumbers of the longitudinal and the shear wave and k_T that of shear (Graff, Wave
    Motion in Elastic Solids, chapter 8),

        Zs, Za = rho c_T^4/w x [(k_T^2 - 2 kx^2)^2 {-i cot, i tan}(k_z h/2)/k_z
                                + 4 kx^2 s_z {-i cot, i tan}(s_z h/2)].
    """
    with mp.workdps(digits):
        w = 2 * mp.pi * mp.mpf(frequency_hz)
        half = mp.mpf(plate.thickness_m) / 2
        density = mp.mpf(plate.density_kg_m3)
        shear, longitudinal = mp.mpc(plate.c55_pa), mp.mpc(plate.c33_pa)
        # The angle in double precision, as both solutions are given it.
        kx = w / mp.mpf(air.sound_speed_m_per_s) * mp.mpf(float(np.sin(np.radians(angle_deg))))
        k_t2 = density * w**2 / shear
        k_z = mp.sqrt(density * w**2 / longitudinal - kx**2)
        s_z = mp.sqrt(k_t2 - kx**2)
        scale = shear**2 / (density * w**3)
        first, second = (k_t2 - 2 * kx**2) ** 2 / k_z, 4 * kx**2 * s_z
        symmetric = -1j * scale * (first * mp.cot(k_z * half) + second * mp.cot(s_z * half))
        antisymmetric = 1j * scale * (first * mp.tan(k_z * half) + second * mp.tan(s_z * half))
        cosine = mp.sqrt(1 - mp.mpf(float(np.sin(np.radians(angle_deg)))) ** 2)
        admittance = cosine / (mp.mpf(air.density_kg_m3) * mp.mpf(air.sound_speed_m_per_s))
        symmetric, antisymmetric = symmetric * admittance, antisymmetric * admittance
        bottom = (1 + symmetric) * (1 + antisymmetric)
        return (symmetric * antisymmetric - 1) / bottom, (symmetric - antisymmetric) / bottom


def solve_by_eigenvalues(
    layers: Sequence[ElasticPlate], *, air: Air, frequency_hz: float, sin_theta: float
) -> tuple[complex, complex]:
    """Reflection from the side of the first layer, and transmission, of welded transversely isotropic layers in air.

    A global matrix: in each layer the four waves are the eigenvectors of the first-order equations for displacement
    and traction, each referred to the face it decays from; the unknowns are their amplitudes, R and T.
    """
    w = 2.0 * np.pi * frequency_hz
    kx = w / air.sound_speed_m_per_s * sin_theta
    admittance = np.sqrt(1.0 - sin_theta**2) / air.impedance_pa_s_per_m
    size = 4 * len(layers) + 2
    matrix, right = np.zeros((size, size), dtype=np.complex128), np.zeros(size, dtype=np.complex128)
    # Displacement in units of stress over w times a typical impedance of solids.
    unit = 1e6 * w
    for index, layer in enumerate(layers):
        c11, c13, c33, c55 = (complex(c) for c in (layer.c11_pa, layer.c13_pa, layer.c33_pa, layer.c55_pa))
        inertia = layer.density_kg_m3 * w**2
        # d/dz of (ux, uz, sxz, szz) for fields that go as e^(-i kx x).
        first_order = np.array(
            [
                [0.0, 1j * kx, unit / c55, 0.0],
                [1j * kx * c13 / c33, 0.0, 0.0, unit / c33],
                [(kx**2 * (c11 - c13**2 / c33) - inertia) / unit, 0.0, 0.0, 1j * kx * c13 / c33],
                [0.0, -inertia / unit, 1j * kx, 0.0],
            ]
        )
        rates, waves = np.linalg.eig(first_order)
        turn = np.exp(np.where(rates.real > 0.0, -rates, rates) * layer.thickness_m)
        bottom, top = waves * np.where(rates.real > 0.0, turn, 1.0), waves * np.where(rates.real > 0.0, 1.0, turn)
        columns = slice(4 * index, 4 * index + 4)
        if index == 0:
            # sxz = 0, szz = -(1 + R), i w uz = Yf (1 - R) at the bottom face.
            matrix[0, columns], matrix[1, columns], matrix[2, columns] = bottom[2], bottom[3], 1j * w / unit * bottom[1]
            matrix[1, -2], right[1] = 1.0, -1.0
            matrix[2, -2], right[2] = admittance, admittance
        else:
            matrix[4 * index - 1 : 4 * index + 3, columns] = -bottom
        if index + 1 < len(layers):
            matrix[4 * index + 3 : 4 * index + 7, columns] = top
        else:
            matrix[-3, columns], matrix[-2, columns], matrix[-1, columns] = top[2], top[3], 1j * w / unit * top[1]
            matrix[-2, -1], matrix[-1, -1] = 1.0, -admittance
    scale = np.abs(matrix).max(axis=1)
    amplitudes = np.linalg.solve(matrix / scale[:, None], right / scale)
    return complex(amplitudes[-2]), complex(amplitudes[-1])
