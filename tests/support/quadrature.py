"""The finite beam through a sheet by brute force: the same model as the operators, none of their numerics.

The azimuth is summed point by point (no Legendre series), the open path is Williams' integral, and the angle to the
normal is integrated adaptively from panels split at the sheet's Lamb angles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from scipy.optimize import brentq
from scipy.special import erfc, j1

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

# The model's definition of what counts as sheet and what as bypass: half an error function about 75 degrees, 3 wide, to
# 88 degrees.
_TAPER_DEG = (75.0, 3.0, 88.0)


def williams_coupling(*, wavenumber_per_m: float, radius_m: float, gap_m: float) -> complex:
    """Coaxial coupling of two equal pistons, Williams, JASA 23, 1 (1951), equation for the average pressure:

    e^(-ikz) - (4/pi) int_0^(pi/2) e^(-ik sqrt(z^2 + 4 a^2 cos^2)) sin^2 dtheta.
    """
    count = 4096
    theta = (np.arange(count) + 0.5) * (0.5 * np.pi / count)
    path = np.sqrt(gap_m**2 + 4.0 * radius_m**2 * np.cos(theta) ** 2)
    edge = np.mean(np.exp(-1j * wavenumber_per_m * path) * np.sin(theta) ** 2) * 2.0
    return complex(np.exp(-1j * wavenumber_per_m * gap_m) - edge)


def disc_points(*, radius_m: float, radial: int, azimuthal: int) -> tuple[Array, Array]:
    """Points (P, 3) of a disc about the origin in the plane z = 0, and weights that sum to 1."""
    x, weight = np.polynomial.legendre.leggauss(radial)
    # Uniform in the square of the radius.
    r = radius_m * np.sqrt(0.5 * (1.0 + x))
    phi = (np.arange(azimuthal) + 0.5) * (2.0 * np.pi / azimuthal)
    points = np.stack([np.outer(r, np.cos(phi)), np.outer(r, np.sin(phi)), np.zeros((radial, azimuthal))], axis=-1)
    return points.reshape(-1, 3), np.repeat(0.5 * weight / azimuthal, azimuthal)


def rayleigh_coupling(
    *,
    wavenumber_per_m: float,
    radius_m: float,
    receiver: Callable[[Array], Array],
    radial: int = 16,
    azimuthal: int = 48,
) -> complex:
    """Mean pressure over rho c v on a face, by Rayleigh's integral over both discs (no spectrum, no expansion).

    `receiver` moves the points (P, 3) of a disc like the emitter's to where the receiving face is.
    """
    points, weights = disc_points(radius_m=radius_m, radial=radial, azimuthal=azimuthal)
    path = np.linalg.norm(receiver(points)[:, None] - points, axis=-1)
    field = np.exp(-1j * wavenumber_per_m * path) / path
    return complex(0.5j * wavenumber_per_m * radius_m**2 * (weights @ field @ weights))


@dataclass(frozen=True, kw_only=True)
class Beam:
    """One pair at one setting and frequency."""

    wavenumber_per_m: float
    radius_m: float
    gap_m: float
    tilt_rad: float

    def kernel(self, theta: Array, azimuths: int) -> Complex:
        """Weight of a plane wave at `theta` from the sheet's normal, relative to the open path, per radian."""
        k, ka = self.wavenumber_per_m, self.wavenumber_per_m * self.radius_m
        phi = (np.arange(azimuths) + 0.5) * (np.pi / azimuths)
        x = np.outer(np.cos(theta), np.full(azimuths, np.cos(self.tilt_rad)))
        x += np.outer(np.sin(theta), np.sin(self.tilt_rad) * np.cos(phi))
        argument = np.maximum(ka * np.sqrt(np.clip(1.0 - x * x, 0.0, None)), 1e-9)
        field = (2.0 * j1(argument) / argument) ** 2 * np.exp(-1j * k * self.gap_m * x)
        taper = 0.5 * erfc((np.degrees(theta) - _TAPER_DEG[0]) / _TAPER_DEG[1])
        open_path = williams_coupling(wavenumber_per_m=k, radius_m=self.radius_m, gap_m=self.gap_m)
        return np.asarray(ka**2 / (2.0 * open_path) * np.sin(theta) * taper * field.mean(axis=1))

    def spline(self, fineness: float) -> Callable[[Array], Complex]:
        """The kernel interpolated by splines of degree 5."""
        turn = self.wavenumber_per_m * (self.gap_m + 2.0 * self.radius_m)
        theta = np.linspace(0.0, np.radians(_TAPER_DEG[2]), int(fineness * (3.0 * turn + 200.0)))
        values = self.kernel(theta, int(fineness * (0.7 * turn + 64.0)))
        real, imaginary = (make_interp_spline(theta, part, k=5) for part in (values.real, values.imag))
        return lambda x: np.asarray(real(x) + 1j * imaginary(x))


def integrate(
    *, kernel: Callable[[Array], Complex], transmission: Callable[[Array], Complex], splits: Array, tolerance: float
) -> complex:
    """int kernel transmission dtheta; panels are halved until each agrees with its halves to a 100th of `tolerance`."""
    end = np.radians(_TAPER_DEG[2])
    near = np.add.outer(splits, np.outer([-1.0, 1.0], np.geomspace(1e-7, 0.02, 8)))
    edges = np.unique(np.clip(np.concatenate([np.linspace(0.0, end, 33), splits, near.ravel()]), 0.0, end))
    nodes, weights = np.polynomial.legendre.leggauss(10)

    def panels(low: Array, high: Array) -> Complex:
        half = 0.5 * (high - low)
        theta = 0.5 * (high + low)[:, None] + half[:, None] * nodes
        flat = theta.ravel()
        values = (kernel(flat) * transmission(flat)).reshape(theta.shape)
        return np.asarray(half * (values @ weights))

    low, high = edges[:-1], edges[1:]
    whole = panels(low, high)
    total = 0.0 + 0.0j
    for _ in range(40):
        middle = 0.5 * (low + high)
        left, right = panels(low, middle), panels(middle, high)
        rough = np.abs(left + right - whole) > tolerance / 100.0
        total += complex(np.sum((left + right)[~rough]))
        if not rough.any():
            return total
        low, high = (np.concatenate(pair) for pair in ((low[rough], middle[rough]), (middle[rough], high[rough])))
        whole = np.concatenate([left[rough], right[rough]])
    raise AssertionError("the reference quadrature does not converge")


def lamb_angles(
    *,
    frequency_hz: float,
    thickness_m: float,
    longitudinal_m_per_s: float,
    shear_m_per_s: float,
    sound_speed_m_per_s: float,
) -> Array:
    """Angles at which waves in air run as fast as a Lamb wave of the lossless plate in vacuum.

    Roots of the Rayleigh-Lamb equations (Graff, Wave Motion in Elastic Solids, 8.1), in a form that is real throughout.
    """
    omega, half = 2.0 * np.pi * frequency_hz, 0.5 * thickness_m

    def functions(theta: Array) -> tuple[Array, Array]:
        k = omega / sound_speed_m_per_s * np.sin(theta)
        p = np.sqrt((omega / longitudinal_m_per_s) ** 2 - k**2 + 0j)
        q = np.sqrt((omega / shear_m_per_s) ** 2 - k**2 + 0j)
        square, product = (q**2 - k**2) ** 2, 4.0 * k**2
        symmetric = square * np.cos(p * half) * np.sin(q * half) / q + product * p * np.sin(p * half) * np.cos(q * half)
        antisymmetric = square * np.sin(p * half) / p * np.cos(q * half) + product * q * np.sin(q * half) * np.cos(
            p * half
        )
        return symmetric.real, antisymmetric.real

    grid = np.linspace(1e-4, np.radians(_TAPER_DEG[2]), 8001)
    roots = []
    for index, values in enumerate(functions(grid)):
        for i in np.flatnonzero(values[:-1] * values[1:] < 0.0):
            roots.append(brentq(lambda t, n=index: float(functions(np.array(t))[n]), grid[i], grid[i + 1], xtol=1e-14))
    return np.array(roots)
