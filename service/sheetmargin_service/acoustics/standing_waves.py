"""Sound that bounces between the faces and the sheet, and from face to face where there is no sheet.

Each face sends back, as a piston, the face reflection r times the pressure averaged over it. Let b1, b2 be what the
emitter and the receiver hear of their own piston by way of the sheet, and t what one hears of the other, all relative
to rho c v. The strengths of the pistons obey two linear equations, and the receiver hears, relative to t alone (the
first arrival),

    S = 1 / ((1 - r b1)(1 - r b2) - r^2 t^2).

A sheet that passes little leaves nothing of t^2; without a sheet b = 0 and t is the open path's coupling. A face hears
itself by its mirror image in the sheet,

    b = ((k a)^2 / 4 pi) int R(theta) D(u.axis) D(u'.axis) e^(-2 i k d cos(tilt) cos(theta)) dOmega,

with u' the direction u reflected in the sheet and d the distance to it along the axis: a tilt turns the image by twice
the tilt. When the sheet moves along the axis by x, b1 and b2 (nearly) keep their size and turn by -+ 2 k x cos(tilt),
so that the level swings with a period of half a wavelength.

A gate that closes before a bounce comes back keeps it out; where the two overlap in part, the bounce counts in
proportion.

Reference: image sources and the angular spectrum, as in `beam`. One reflection coefficient for the whole face and its
answer as a uniform piston are assumptions of this model.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetmargin_service.acoustics.beam import GRAZING_END_RAD, grazing_taper, piston_directivity
from sheetmargin_service.acoustics.legendre import gauss_nodes, series_order

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


def mirror_bounce(
    *, radius_m: float, frequency_hz: float, gap_m: Array, tilt_rad: Array, sound_speed_m_per_s: float
) -> Complex:
    """b of one face before a sheet midway between the faces that sends back all sound, (N,): gap major, tilt minor.

    `gap_m` (G,), `tilt_rad` (T,).
    """
    wavenumber = 2.0 * np.pi / sound_speed_m_per_s * frequency_hz
    k_radius = wavenumber * radius_m
    x, weight = gauss_nodes(series_order(extent_rad=0.5 * (wavenumber * float(np.max(gap_m)) + 2.0 * k_radius)))
    theta = 0.5 * GRAZING_END_RAD * (1.0 + x)
    mean = _mean_directivity(k_radius=k_radius, tilt_rad=tilt_rad, theta_rad=theta)
    measure = 0.5 * k_radius**2 * np.sin(theta) * grazing_taper(theta) * (0.5 * GRAZING_END_RAD * weight)
    path = np.multiply.outer(wavenumber * np.outer(gap_m, np.cos(tilt_rad)), np.cos(theta))
    return np.asarray(((measure * mean) * np.exp(-1j * path)).sum(axis=-1).ravel())


def _mean_directivity(*, k_radius: float, tilt_rad: Array, theta_rad: Array) -> Array:
    """Mean over azimuth of D(u.axis) D(u'.axis): (T, Q).

    Both are even functions of the azimuth, and the half turn exchanges them: the midpoint rule on a quarter turn is
    exact once it resolves 2 k a.
    """
    points = int(np.ceil(0.5 * k_radius)) + 8
    azimuth = (np.arange(points) + 0.5) * (0.5 * np.pi / points)
    along = np.multiply.outer(np.cos(tilt_rad), np.cos(theta_rad))[..., None]
    across = np.multiply.outer(np.sin(tilt_rad), np.sin(theta_rad))[..., None] * np.cos(azimuth)
    out_sine = np.sqrt(np.clip(1.0 - (along + across) ** 2, 0.0, None))
    back_sine = np.sqrt(np.clip(1.0 - (along - across) ** 2, 0.0, None))
    out, back = (piston_directivity(wavenumber_radius=k_radius, sine=sine) for sine in (out_sine, back_sine))
    return np.asarray(np.mean(out * back, axis=-1))


def gate_share(*, gate_s: float, path_m: ArrayLike, sound_speed_m_per_s: float) -> Array:
    """Part of a gate that is left when a bounce arrives by a detour of `path_m`: 0 to 1, shape of `path_m`.

    The detour is twice the distance from face to sheet, or twice the gap in the open path.
    """
    delay = np.asarray(path_m, dtype=np.float64) / sound_speed_m_per_s
    return np.clip(1.0 - delay / gate_s, 0.0, 1.0)


def ripple_db(bounce: ArrayLike) -> Array:
    """Peak to peak swing 20 lg((1 + x)/(1 - x)) that bounces of relative amplitude x < 1 make as their phase turns."""
    x = np.asarray(bounce, dtype=np.float64)
    return np.asarray(20.0 * np.log10((1.0 + x) / (1.0 - x)))
