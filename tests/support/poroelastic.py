"""Sheets of poroelastic material and the film between them in one global matrix, to compare permeable sheets with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv
from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.plate import ElasticPlate

from support.viscous_gas import viscous_gas_impedances

Complex = NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True)
class Poroelastic:
    """A frame, of a sheet's whole thickness and mean density, and round pores of one radius in it."""

    frame: ElasticPlate
    permeance_um_per_pa_s: float
    porosity: float
    tortuosity: float


def round_pores(*, air: Air, radius_m: float, porosity: float, frequency_hz: float) -> tuple[complex, complex]:
    """Density and bulk modulus, by face, of air in straight round pores (Stinson, JASA 89, 550, 1991)."""
    w = 2.0 * np.pi * frequency_hz

    def core(diffusivity: float) -> complex:
        x = radius_m * np.sqrt(-1j * w / diffusivity)
        return complex(1.0 - 2.0 * jv(1, x) / (x * jv(0, x)))

    ratio = air.heat_capacity_ratio
    density = air.density_kg_m3 / porosity / core(air.kinematic_viscosity_m2_per_s)
    stiff = air.bulk_modulus_pa / porosity / (ratio - (ratio - 1.0) * core(air.thermal_diffusivity_m2_per_s))
    return complex(density), complex(stiff)


def solve_poroelastic(
    layers: Sequence[Poroelastic], *, air: Air, frequency_hz: float, sin_theta: float, film_m: float | None = None
) -> tuple[complex, complex]:
    """Reflection and transmission of one sheet of welded layers, or of two with a film of air of `film_m` between them.

    Biot's equations in their form of 1962 (J. Appl. Phys. 33, 1482), transversely isotropic, the substance of the frame
    far stiffer than the frame: with w the flow relative to the frame u, by face,

        total stress = c e - p,   p = -K (div u + div w),
        div stress = -omega^2 (rho u + rho_f w),   grad p = omega^2 (rho_f u + m w).

    In each layer the six waves are the eigenvectors of the first-order equations across it, each referred to the face
    that it decays from. The film is that of the full equations of a viscous gas, whose walls are the sheets' faces.
    """
    w = 2.0 * np.pi * frequency_hz
    admittance = np.sqrt(1.0 - sin_theta**2) / air.impedance_pa_s_per_m
    sheets = 1 if film_m is None else 2
    faces = [_faces(layer, air=air, frequency_hz=frequency_hz, sin_theta=sin_theta) for layer in layers] * sheets
    size = 6 * len(faces) + 2
    rows: list[tuple[Complex, complex]] = []

    def row(
        *entries: tuple[int, Complex], reflected: complex = 0.0, passed: complex = 0.0, right: complex = 0.0
    ) -> None:
        line = np.zeros(size, dtype=np.complex128)
        for layer, coefficients in entries:
            line[6 * layer : 6 * layer + 6] += coefficients
        line[-2:] = reflected, passed
        scale = np.abs(line).max()
        rows.append((line / scale, right / scale))

    def free_of_the_frame(layer: int, face: Complex) -> None:
        """No shear, and the pressure on frame and pores alike."""
        row((layer, face[3]))
        row((layer, face[4] + face[5]))

    first, last, middle = 0, len(faces) - 1, len(layers) - 1
    bottom, top = faces[first][0], faces[last][1]
    free_of_the_frame(first, bottom)
    row((first, bottom[5]), reflected=-1.0, right=1.0)
    row((first, _velocity(bottom, w)), reflected=admittance, right=admittance)
    for below in range(len(faces) - 1):
        lower, upper = faces[below][1], faces[below + 1][0]
        if film_m is None or below != middle:
            for quantity in range(6):
                row((below, lower[quantity]), (below + 1, -upper[quantity]))
            continue
        symmetric, antisymmetric = viscous_gas_impedances(
            air=air, thickness_m=film_m, frequency_hz=frequency_hz, sin_theta=sin_theta
        )
        same, other = 0.5 * (symmetric + antisymmetric), 0.5 * (symmetric - antisymmetric)
        into_below, into_above = _velocity(lower, w), -_velocity(upper, w)
        free_of_the_frame(below, lower)
        free_of_the_frame(below + 1, upper)
        row((below, lower[5] - same * into_below), (below + 1, -other * into_above))
        row((below, -other * into_below), (below + 1, upper[5] - same * into_above))
    free_of_the_frame(last, top)
    row((last, top[5]), passed=-1.0)
    row((last, _velocity(top, w)), passed=-admittance)
    matrix, right = (np.array(part) for part in zip(*rows, strict=True))
    amplitudes = np.linalg.solve(matrix, right)
    return complex(amplitudes[-2]), complex(amplitudes[-1])


def _velocity(face: Complex, w: float) -> Complex:
    return np.asarray(1j * w * (face[1] + face[2]))


def _faces(sheet: Poroelastic, *, air: Air, frequency_hz: float, sin_theta: float) -> tuple[Complex, Complex]:
    """(ux, uz, wz, sxz, szz, p) on the bottom and the top face, (6, 6), of the six waves."""
    w = 2.0 * np.pi * frequency_hz
    kx = w / air.sound_speed_m_per_s * sin_theta
    frame = sheet.frame
    c11, c13, c33, c55 = (complex(c) for c in (frame.c11_pa, frame.c13_pa, frame.c33_pa, frame.c55_pa))
    thickness, fluid = float(frame.thickness_m), air.density_kg_m3
    # Poiseuille: permeance = porosity a^2/(8 eta tortuosity h).
    viscosity = air.kinematic_viscosity_m2_per_s * fluid
    steady = 1e-6 * sheet.permeance_um_per_pa_s
    radius = np.sqrt(8.0 * viscosity * sheet.tortuosity * thickness * steady / sheet.porosity)
    inertia, stiff = round_pores(air=air, radius_m=radius, porosity=sheet.porosity, frequency_hz=frequency_hz)
    inertia *= sheet.tortuosity
    bulk = float(frame.density_kg_m3)
    ux, uz, wz, sxz, szz, p = np.eye(6, dtype=np.complex128)
    wx = (-1j * kx * p / w**2 - fluid * ux) / inertia
    d_ux = sxz / c55 + 1j * kx * uz
    d_uz = (szz + p + 1j * kx * c13 * ux) / c33
    d_wz = -p / stiff + 1j * kx * (ux + wx) - d_uz
    sxx = -1j * kx * c11 * ux + c13 * d_uz - p
    d_sxz = 1j * kx * sxx - w**2 * (bulk * ux + fluid * wx)
    d_szz = 1j * kx * sxz - w**2 * (bulk * uz + fluid * wz)
    d_p = w**2 * (fluid * uz + inertia * wz)
    first_order = np.stack([d_ux, d_uz, d_wz, d_sxz, d_szz, d_p])
    # Displacements and stresses in units that make the entries alike.
    unit = np.array([1.0, 1.0, 1.0, 1e6 * w, 1e6 * w, 1e6 * w])
    rates, waves = np.linalg.eig(first_order * unit[None, :] / unit[:, None])
    waves = waves * unit[:, None] / (1e6 * w)
    grows = rates.real > 0.0
    turn = np.exp(np.where(grows, -rates, rates) * thickness)
    return waves * np.where(grows, turn, 1.0), waves * np.where(grows, 1.0, turn)
