"""What the receiver hears through a tilted sheet, as linear operators on the sheet's plane-wave transmission.

Emitter and receiver face each other on one axis, a gap apart; the sheet runs between them, its normal turned from the
axis by the tilt. Relative to the open path of the same pair, the first arrival is

    p = int F(u.axis) T(u.normal) dOmega / int F(u.axis) dOmega,      F(x) = D(sqrt(1 - x^2))^2 e^(-i k gap x),

over the directions u of plane waves (`beam` has D and the exact denominator). Where on the axis the sheet runs does not
matter. T depends on the angle to the normal alone, so the integral over azimuth belongs to the operator. F is
band-limited on the sphere: F = sum c_n P_n, and the addition theorem turns the azimuthal mean into

    w(theta) = 2 pi sin(theta) sum c_n P_n(cos tilt) P_n(cos theta),      p = int w(theta) T(theta) dtheta.

Gap and frequency enter by c_n, the tilt by P_n(cos tilt), and the rest is the same for every class. Directions near the
plane of the sheet are tapered away (`beam.grazing_taper`). D continues beyond 90 degrees from the axis as for the bare
disc of sources that stands for the piston; these waves, too, reach the sheet only where the taper acts.

w is entire, so that the integral runs along a `contour` above the real axis, where T is smooth, and 96 samples of T
serve every sheet; the few poles of T that lie near the path or below it are told apart (`poles`).

The gap counts from face to face and the sheet takes the place of air: give T e^(+i kz h), see `displaced_air`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetmargin_service.acoustics.air import cosine
from sheetmargin_service.acoustics.beam import grazing_taper, open_path_coupling, piston_directivity
from sheetmargin_service.acoustics.contour import Contour, contour_for, dense_places, project_kernel
from sheetmargin_service.acoustics.legendre import gauss_nodes, legendre_table, series_coefficients, series_order
from sheetmargin_service.cached import cached_property

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]

_REACH = 1.2
"""Terms of the series over those that it needs on the real axis: above it P_n grows like e^(n height)."""
_DENSE = 4
"""Places at which the kernel is projected, for each node."""


def gaussian_band(*, centre_hz: float, bandwidth_hz: float, nodes: int = 5) -> tuple[Array, Array]:
    """Frequencies and weights (`nodes`,) of a Gaussian power spectrum at the receiver; the weights sum to 1.

    `bandwidth_hz` is its full width at -6 dB, through emitter and receiver (the spectrum of a burst or a ring-down;
    zero for a steady tone, which has one node). Gauss-Hermite quadrature.
    """
    if bandwidth_hz == 0.0:
        return np.array([centre_hz]), np.array([1.0])
    x, weight = np.polynomial.hermite_e.hermegauss(nodes)
    deviation_hz = 0.5 * bandwidth_hz / np.sqrt(2.0 * np.log(4.0))
    return centre_hz + deviation_hz * x, weight / weight.sum()


def displaced_air(
    *, frequency_hz: ArrayLike, sin_theta: ArrayLike, thickness_m: ArrayLike, sound_speed_m_per_s: float
) -> Complex:
    """e^(+i kz h): what a sheet's transmission from face to face gains because the sheet takes the place of air.

    Arguments broadcast together.
    """
    wavenumber = 2.0 * np.pi / sound_speed_m_per_s * np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(
        np.exp(1j * wavenumber * np.asarray(thickness_m, dtype=np.float64) * cosine(np.asarray(sin_theta)))
    )


@dataclass(frozen=True, kw_only=True)
class Operator:
    """A linear functional of a response over angle, for F frequencies and N settings (gap major, tilt minor).

    `at_nodes` (F, S, N) acts on samples at the nodes of `contour`; `series` (F, G, order) are the c_n of the module's
    notes, relative to the open path.
    """

    frequency_hz: Array
    band_weight: Array
    gap_m: Array
    tilt_rad: Array
    contour: Contour
    at_nodes: Complex
    series: Complex

    @property
    def sin_theta(self) -> Complex:
        """(S,)"""
        return self.contour.sin_theta

    @cached_property
    def _by_tilt(self) -> Array:
        return legendre_table(order=self.series.shape[-1], x=np.cos(self.tilt_rad))

    def at_line(self, line: int) -> Operator:
        """The same at one of its frequencies alone, which stands for the band."""
        return replace(self.at_lines(np.array([line])), band_weight=np.ones(1))

    def at_lines(self, lines: Indices) -> Operator:
        """The same at some of its frequencies."""
        if len(lines) == len(self.frequency_hz):
            return self
        return replace(
            self,
            frequency_hz=self.frequency_hz[lines],
            band_weight=self.band_weight[lines],
            at_nodes=self.at_nodes[lines],
            series=self.series[lines],
        )

    def at_setting(self, setting: int) -> Operator:
        """The same at one of its settings alone."""
        gap, tilt = divmod(setting, len(self.tilt_rad))
        return replace(
            self,
            gap_m=self.gap_m[gap : gap + 1],
            tilt_rad=self.tilt_rad[tilt : tilt + 1],
            at_nodes=self.at_nodes[..., setting : setting + 1],
            series=self.series[:, gap : gap + 1],
        )

    def orders(self, line: int) -> Complex:
        """c_n P_n(cos tilt) at a frequency, (order, N)."""
        by_order = self.series[line].T[:, :, None] * self._by_tilt[:, None, :]
        return np.asarray(by_order.reshape(len(by_order), -1))


def transmission_operator(
    *,
    radius_m: float,
    frequency_hz: Array,
    band_weight: Array,
    gap_m: Array,
    tilt_rad: Array,
    sound_speed_m_per_s: float,
    contour: Contour | None = None,
) -> Operator:
    """Operator from a sheet's transmission (with displaced air) to the first arrival relative to the open path.

    `frequency_hz`, `band_weight` (F,), `gap_m` (G,), `tilt_rad` (T,). `contour`: None for the one that these ask for.
    """
    wavenumber = 2.0 * np.pi / sound_speed_m_per_s * frequency_hz
    extent = float(np.max(wavenumber) * np.hypot(np.max(gap_m), 2.0 * radius_m))
    if contour is None:
        contour = contour_for(gap_rad=float(np.max(wavenumber) * np.max(gap_m)), tilt_rad=float(np.max(tilt_rad)))
    order = series_order(extent_rad=_REACH * extent)
    cosines, _ = gauss_nodes(order + 8)
    directivity = piston_directivity(
        wavenumber_radius=(wavenumber * radius_m)[:, None], sine=np.sqrt(1.0 - cosines * cosines)
    )
    coupling = open_path_coupling(wavenumber_per_m=wavenumber[:, None], radius_m=radius_m, gap_m=gap_m)
    scale = (wavenumber * radius_m)[:, None] ** 2 / (4.0 * np.pi * coupling)
    phase = np.exp(-1j * np.multiply.outer(np.outer(wavenumber, gap_m), cosines))
    series = series_coefficients(samples=scale[..., None] * directivity[:, None] ** 2 * phase, order=order)
    tilted = series[:, :, None, :] * legendre_table(order=order, x=np.cos(tilt_rad)).T
    settings = tilted.reshape(len(frequency_hz), -1, order).transpose(0, 2, 1)
    return Operator(
        frequency_hz=frequency_hz,
        band_weight=band_weight,
        gap_m=gap_m,
        tilt_rad=tilt_rad,
        contour=contour,
        at_nodes=_order_moments(contour, order) @ settings,
        series=series,
    )


@lru_cache(maxsize=16)
def _order_moments(contour: Contour, order: int) -> Complex:
    """(S, order): weights of samples at the nodes for integrals with 2 pi sin(theta) P_n(cos theta), tapered."""
    places, measure = dense_places(_DENSE * contour.nodes)
    theta, slope = contour.run(places)
    kernel = legendre_table(order=order, x=np.cos(theta)) * (ring(theta) * slope)
    return project_kernel(contour, kernel.T, places=places, measure=measure)


def ring(theta: Complex) -> Complex:
    """2 pi sin(theta), tapered: the measure of all directions at an angle to the normal."""
    return np.asarray(2.0 * np.pi * np.sin(theta) * grazing_taper(theta))


def apply_samples(*, operator: Operator, samples: Complex) -> Complex:
    """Amplitudes (cases..., F, N) from samples (cases..., F, S) of a response at the nodes."""
    if samples.ndim == 2:
        return np.asarray((samples[:, None] @ operator.at_nodes)[:, 0])
    # Frequencies first, so that products of matrices do it and nothing is copied.
    by_line = np.moveaxis(samples, -2, 0)
    kernel = np.expand_dims(operator.at_nodes, tuple(range(1, samples.ndim - 2)))
    return np.asarray(np.moveaxis(by_line @ kernel, 0, -2))


def power(*, operator: Operator, amplitude: Complex) -> Array:
    """Power over the band relative to the open path, (cases..., N), from amplitudes (cases..., F, N)."""
    by_line = amplitude.real**2 + amplitude.imag**2
    return by_line[..., 0, :] if len(operator.band_weight) == 1 else np.asarray(operator.band_weight @ by_line)


def decibels(power: ArrayLike) -> Array:
    """A power in dB, any shape."""
    return np.asarray(10.0 * np.log10(np.maximum(power, np.finfo(np.float64).tiny)))


def level_db(*, operator: Operator, amplitude: Complex) -> Array:
    """Level over the band in dB relative to the open path, (cases..., N), from amplitudes (cases..., F, N)."""
    return decibels(power(operator=operator, amplitude=amplitude))
