"""A pair of equal circular faces in open air: directivity, coupling, and what misalignment costs.

The emitter is a baffled piston, the receiver averages pressure over an equal face. Of a piston that moves with
velocity v the receiver reads rho c v C, with the coupling

    C = ((k a)^2 / 4 pi) int D(u) D'(u) e^(-i k u.g) dOmega,      D = 2 J1(k a s)/(k a s),

over the directions u of plane waves: s is the sine of the angle from a face's axis, g the vector from face to face. The
element of solid angle stands for dKx dKy/(k kz); so it holds the 1/cos(theta) of a pressure receiver and depends on no
frame. Beyond grazing the cosine runs down the negative imaginary axis (evanescent waves). Faces that touch have C = 1.

References
----------
[1] Goodman, Introduction to Fourier Optics, chapter 3: the angular spectrum.
[2] Williams, "The piston source at high frequencies", JASA 23, 1 (1951): the coaxial coupling as a finite integral.
[3] Kinsler, Frey, Coppens and Sanders, Fundamentals of Acoustics, chapter 7: directivity of a circular piston.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfc, j0, j1

from sheetmargin_service.acoustics.legendre import (
    Number,
    gauss_nodes,
    legendre_table,
    series_coefficients,
    series_order,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

# The evanescent part is followed until it has decayed by e^-30.
_EVANESCENT_EXPONENT = 30.0
# A gap of half a wavelength is no gap of a detector, and its evanescent part would need more nodes.
_LEAST_GAP_RAD = 3.0

# Sound at more than this from the normal of a sheet that runs midway, tilted by 45 degrees, meets the sheet between
# one gap (70 degrees) and four gaps (85 degrees) off the axis, where there is no flat sheet to count on. What arrives
# that way belongs to the bypass of a class, not to the sheet.
GRAZING_MIDDLE_RAD = np.radians(75.0)
GRAZING_WIDTH_RAD = np.radians(3.0)
GRAZING_END_RAD = np.radians(88.0)


def grazing_taper(theta_rad: NDArray[Number]) -> NDArray[Number]:
    """Share of a plane wave that counts, by its angle from the normal: half an error function, 1 to 70 degrees, 1/2 at
    75, below 1e-9 at 88, where it is cut off. Analytic, so that an integral over the angle may leave the real axis."""
    return np.asarray(0.5 * erfc((theta_rad - GRAZING_MIDDLE_RAD) / GRAZING_WIDTH_RAD), dtype=theta_rad.dtype)


def piston_directivity(*, wavenumber_radius: ArrayLike, sine: ArrayLike) -> Array:
    """2 J1(x)/x with x = `wavenumber_radius` times `sine`, which broadcast together; 1 on the axis [3]."""
    x = np.multiply(wavenumber_radius, sine, dtype=np.float64)
    on_axis = np.abs(x) < 1e-6
    return np.asarray(np.where(on_axis, 1.0, 2.0 * j1(x) / np.where(on_axis, 1.0, x)))


_HALF_POWER = 1.6163399483107
"""Where 2 J1(x)/x is the root of a half."""


def half_angle_rad(*, wavenumber_per_m: float, radius_m: float) -> float:
    """Angle from the axis at which one face's directivity is 3 dB down: sine 1.616/(k a) [3].

    Raises ValueError for a face so small that there is none (k a below 1.616).
    """
    sine = _HALF_POWER / (wavenumber_per_m * radius_m)
    if sine > 1.0:
        raise ValueError(f"a face of radius {radius_m} m has no -3 dB angle at {wavenumber_per_m} rad/m")
    return float(np.arcsin(sine))


def open_path_coupling(
    *, wavenumber_per_m: ArrayLike, radius_m: float, gap_m: ArrayLike, offset_m: ArrayLike = 0.0
) -> Complex:
    """C of two faces on parallel axes `offset_m` apart. Wavenumber, gap and offset broadcast to its shape.

    The whole spectrum, evanescent part included; on a common axis it equals [2].

    Raises ValueError for a gap below half a wavelength.
    """
    k, gap, offset = (
        x[..., None]
        for x in np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (wavenumber_per_m, gap_m, offset_m)))
    )
    least_gap, most_gap = float(np.min(k * gap)), float(np.max(k * gap))
    if least_gap < _LEAST_GAP_RAD:
        raise ValueError(f"a gap of {np.min(gap)} m is below half a wavelength")
    extent = most_gap + float(np.max(k * (2.0 * radius_m + np.abs(offset))))
    nodes, weights = gauss_nodes(series_order(extent_rad=0.5 * extent))
    depth = 0.5 * _EVANESCENT_EXPONENT / least_gap
    cosine = np.concatenate([0.5 * (1.0 + nodes), -1j * depth * (1.0 + nodes)])
    measure = np.concatenate([0.5 * weights, 1j * depth * weights])
    # 1 - cosine^2 is real on both parts of the path. J0 averages the phase of the offset over azimuth.
    sine = np.sqrt(1.0 - (cosine * cosine).real)
    spectrum = piston_directivity(wavenumber_radius=k * radius_m, sine=sine) ** 2 * j0(k * offset * sine)
    integral = (spectrum * np.exp(-1j * k * gap * cosine)) @ measure
    return np.asarray(0.5 * (k[..., 0] * radius_m) ** 2 * integral)


def turned_face_coupling(*, wavenumber_per_m: float, radius_m: float, gap_m: float, angle_rad: ArrayLike) -> Complex:
    """C of two faces on one axis, one of them turned by `angle_rad` about its own centre; shape of `angle_rad`.

    Waves that graze the faces are tapered away as `grazing_taper` says (under 1e-3 of C for k a from 12).
    """
    k_radius, k_gap = wavenumber_per_m * radius_m, wavenumber_per_m * gap_m
    order = series_order(extent_rad=k_radius)
    cosine, _ = gauss_nodes(order + 8)
    face = piston_directivity(wavenumber_radius=k_radius, sine=np.sqrt(1.0 - cosine * cosine))
    by_order = series_coefficients(samples=face, order=order)
    nodes, weights = gauss_nodes(series_order(extent_rad=0.5 * k_gap + 2.0 * k_radius))
    cosine = 0.5 * (1.0 + nodes)
    beam = piston_directivity(wavenumber_radius=k_radius, sine=np.sqrt(1.0 - cosine * cosine))
    beam = 0.5 * weights * grazing_taper(np.arccos(cosine)) * beam * np.exp(-1j * k_gap * cosine)
    by_order = by_order * (legendre_table(order=order, x=cosine) @ beam)
    turned = legendre_table(order=order, x=np.cos(np.asarray(angle_rad, dtype=np.float64)))
    return np.asarray(0.5 * k_radius**2 * np.tensordot(by_order, turned, axes=1))


def open_path_db(
    *,
    wavenumber_per_m: float,
    radius_m: float,
    gap_m: ArrayLike,
    reference_gap_m: float,
    absorption_db_per_m: float,
) -> Array:
    """Open path in dB relative to the one at `reference_gap_m`, with the absorption of the air; shape of `gap_m`."""
    gap = np.asarray(gap_m, dtype=np.float64)
    coupling = open_path_coupling(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=gap)
    reference = open_path_coupling(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=reference_gap_m)
    return np.asarray(20.0 * np.log10(np.abs(coupling / reference)) - absorption_db_per_m * (gap - reference_gap_m))


def offset_loss_db(*, wavenumber_per_m: float, radius_m: float, gap_m: float, offset_m: ArrayLike) -> Array:
    """What a lateral offset of one face costs the open path, in dB, positive; shape of `offset_m`."""
    offset = np.asarray(offset_m, dtype=np.float64)
    aligned = open_path_coupling(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=gap_m)
    coupling = open_path_coupling(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=gap_m, offset_m=offset)
    return np.asarray(-20.0 * np.log10(np.abs(coupling / aligned)))


def turn_loss_db(*, wavenumber_per_m: float, radius_m: float, gap_m: float, angle_rad: ArrayLike) -> Array:
    """What turning one face about its centre costs the open path, in dB, positive; shape of `angle_rad`."""
    angle = np.asarray(angle_rad, dtype=np.float64)
    both = np.concatenate([[0.0], angle.ravel()])
    coupling = turned_face_coupling(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=gap_m, angle_rad=both)
    return np.asarray(-20.0 * np.log10(np.abs(coupling[1:] / coupling[0]))).reshape(angle.shape)


@dataclass(frozen=True, kw_only=True)
class AlignmentLimits:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path."""

    offset_m_1db: float
    offset_m_3db: float
    angle_rad_1db: float
    angle_rad_3db: float


@lru_cache(maxsize=1024)
def alignment_limits(*, wavenumber_per_m: float, radius_m: float, gap_m: float) -> AlignmentLimits:
    """Least offset and least angle that cost 1 dB and 3 dB, to better than 0.1 %."""
    half_angle = half_angle_rad(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m)

    def by_offset(offset_m: Array) -> Array:
        return offset_loss_db(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=gap_m, offset_m=offset_m)

    def by_angle(angle_rad: Array) -> Array:
        return turn_loss_db(wavenumber_per_m=wavenumber_per_m, radius_m=radius_m, gap_m=gap_m, angle_rad=angle_rad)

    # 3 dB come before both: a face moved by its diameter and twice the beam's half width, or turned by two half angles.
    offset_1db, offset_3db = _first_crossings(by_offset, end=2.0 * (radius_m + gap_m * float(np.tan(half_angle))))
    angle_1db, angle_3db = _first_crossings(by_angle, end=2.0 * half_angle)
    return AlignmentLimits(
        offset_m_1db=offset_1db, offset_m_3db=offset_3db, angle_rad_1db=angle_1db, angle_rad_3db=angle_3db
    )


def _first_crossings(loss: Callable[[Array], Array], *, end: float) -> tuple[float, float]:
    """Where a loss first reaches 1 dB and 3 dB on the way from 0 to `end`: a scan, and a finer one between its points.

    Between those it is interpolated in the square of the misalignment, with which a small one grows.
    """
    coarse = np.linspace(0.0, end, 33)
    by_coarse = loss(coarse)
    after = np.array([int(np.argmax(by_coarse >= level)) for level in (1.0, 3.0)])
    fine = np.linspace(coarse[after - 1], coarse[after], 9, axis=1)
    by_fine = loss(fine)
    first, third = (np.sqrt(np.interp(level, by_fine[row], fine[row] ** 2)) for row, level in enumerate((1.0, 3.0)))
    return float(first), float(third)
