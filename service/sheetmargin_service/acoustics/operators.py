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

The gap counts from face to face and the sheet takes the place of air: give T e^(+i kz h), see `displaced_air`.

Coincidences of plates are as narrow as 0.001 degrees. Where the coarse grid (`panels`) does not resolve them, its
panels are split and the response is sampled anew, each case and frequency at angles of its own. The kernel w is
smooth; there it enters by its Legendre moments in the fine panels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetmargin_service.acoustics.beam import grazing_taper, open_path_coupling, piston_directivity
from sheetmargin_service.acoustics.legendre import gauss_nodes, legendre_table, series_coefficients, series_order
from sheetmargin_service.acoustics.panels import (
    COARSE_CREDIT,
    DEGREES,
    FINE_HALF_RAD,
    FINE_PANELS,
    FIRST_FINE,
    GROUPS,
    PANEL_NODES,
    coarse_theta,
    halving,
    highest_degrees,
    kernel_nodes,
    project_kernel,
    unresolved_tail,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

ResponseFunction = Callable[[Array, Array], Complex]
"""`response(frequency_hz, sin_theta)`: a coefficient of the sheet, computed element by element. Frequency comes as (F,
1), the sine as (S,) or (cases..., F, S); the result is (cases..., F, S)."""

SmoothFunction = Callable[[tuple[NDArray[np.intp], ...], Array, Array], Complex]
"""`smooth(case, frequency_hz, sin_theta)`: Q things (Q, P, 8) that vary slowly over a fine panel, for P pieces of 8
angles: index arrays (P,) into the axes of the cases, frequency (P, 1), sine (P, 8)."""

PieceFunction = Callable[[tuple[NDArray[np.intp], ...], Array, Array, Complex], Complex]
"""`pieces(case, frequency_hz, sin_theta, known)`: the response (P, 8) for P such pieces, of which `known` (Q, P, 8) is
what the `SmoothFunction` says."""

_Evaluate = Callable[[NDArray[np.intp], NDArray[np.intp], Array, Complex], Complex]
_Know = Callable[[NDArray[np.intp], NDArray[np.intp], Array], Complex]

# Splitting stops here at the latest: a fine panel over 2^24 is 2e-7 degrees, far below any resonance's width.
_DEEPEST = 24


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
    cosine = np.sqrt(1.0 - np.square(np.asarray(sin_theta, dtype=np.float64)))
    return np.asarray(np.exp(1j * wavenumber * np.asarray(thickness_m, dtype=np.float64) * cosine))


@dataclass(frozen=True, kw_only=True)
class Operator:
    """A linear functional of a response over angle, for F frequencies and N settings (gap major, tilt minor).

    `coarse` (F, 48, N) acts on samples at `coarse_theta`, `fine` (F, 32 * 12, N) on the response's Legendre
    coefficients in the fine panels; `weight` (F, 32, N) is the root mean square of the kernel in each fine panel, per
    radian.
    """

    frequency_hz: Array
    band_weight: Array
    gap_m: Array
    tilt_rad: Array
    coarse: Complex
    fine: Complex
    weight: Array

    @cached_property
    def coarse_tail(self) -> Complex:
        """What `coarse` makes of the highest degrees of each panel alone, (F, 48, N)."""
        return np.asarray(highest_degrees() @ self.coarse)

    @property
    def sin_theta(self) -> Array:
        return np.sin(coarse_theta())


def transmission_operator(
    *,
    radius_m: float,
    frequency_hz: Array,
    band_weight: Array,
    gap_m: Array,
    tilt_rad: Array,
    sound_speed_m_per_s: float,
) -> Operator:
    """Operator from a sheet's transmission (with displaced air) to the first arrival relative to the open path.

    `frequency_hz`, `band_weight` (F,), `gap_m` (G,), `tilt_rad` (T,).
    """
    wavenumber = 2.0 * np.pi / sound_speed_m_per_s * frequency_hz
    extent = float(np.max(wavenumber) * np.hypot(np.max(gap_m), 2.0 * radius_m))
    order = series_order(extent_rad=extent)
    cosine, _ = gauss_nodes(order + 8)
    directivity = piston_directivity(
        wavenumber_radius=(wavenumber * radius_m)[:, None], sine=np.sqrt(1.0 - cosine * cosine)
    )
    coupling = open_path_coupling(wavenumber_per_m=wavenumber[:, None], radius_m=radius_m, gap_m=gap_m)
    scale = (wavenumber * radius_m)[:, None] ** 2 / (4.0 * np.pi * coupling)
    phase = np.exp(-1j * np.multiply.outer(np.outer(wavenumber, gap_m), cosine))
    field = scale[..., None] * directivity[:, None] ** 2 * phase
    series = series_coefficients(samples=field, order=order)
    tilted = series[:, :, None, :] * legendre_table(order=order, x=np.cos(tilt_rad)).T
    settings = tilted.reshape(len(frequency_hz), -1, order).transpose(0, 2, 1)
    coarse, fine = _order_moments(order)
    return build_operator(
        frequency_hz=frequency_hz,
        band_weight=band_weight,
        gap_m=gap_m,
        tilt_rad=tilt_rad,
        coarse=coarse @ settings,
        fine=fine @ settings,
    )


def build_operator(
    *, frequency_hz: Array, band_weight: Array, gap_m: Array, tilt_rad: Array, coarse: Complex, fine: Complex
) -> Operator:
    """An operator from its kernels on the coarse (F, 48, N) and the fine basis (F, 32 * 12, N)."""
    by_panel = fine.reshape(len(frequency_hz), FINE_PANELS, DEGREES, -1)
    # Parseval: the kernel's Legendre coefficients in a panel are (2l+1)/(2 half) times its moments.
    square = np.einsum("l,fplk->fpk", 2.0 * np.arange(DEGREES) + 1.0, (by_panel * by_panel.conj()).real)
    return Operator(
        frequency_hz=frequency_hz,
        band_weight=band_weight,
        gap_m=gap_m,
        tilt_rad=tilt_rad,
        coarse=coarse,
        fine=fine,
        weight=np.sqrt(square) / (2.0 * FINE_HALF_RAD),
    )


@lru_cache(maxsize=16)
def _order_moments(order: int) -> tuple[Array, Array]:
    """Kernels 2 pi sin(theta) P_n(cos theta), tapered, on the coarse and the fine basis: (48, order), (384, order)."""
    theta, measure = kernel_nodes(extent_rad=float(order))
    measure = 2.0 * np.pi * np.sin(theta) * grazing_taper(theta) * measure
    return project_kernel(legendre_table(order=order, x=np.cos(theta)) * measure)


def apply_samples(*, operator: Operator, samples: Complex) -> Complex:
    """Amplitudes (cases..., F, N) from samples (cases..., F, 48) of a response at `coarse_theta`."""
    cases = samples.reshape(-1, *samples.shape[-2:]).swapaxes(0, 1)
    result = (cases @ operator.coarse).swapaxes(0, 1)
    return np.asarray(result.reshape(*samples.shape[:-1], -1))


def amplitudes(
    *,
    operator: Operator,
    response: ResponseFunction | None = None,
    samples: Complex | None = None,
    pieces: PieceFunction | None = None,
    smooth: SmoothFunction | None = None,
    floor_db: float = -90.0,
    tolerance: float = 5e-3,
) -> Complex:
    """Amplitudes (cases..., F, N) that a response gives, its sharp resonances resolved where they matter.

    `samples` (cases..., F, 48) may be given where the response is known at `coarse_theta` already. `pieces` computes it
    for single cases, so that a few sharp ones among many cost little; else `response` computes all cases each time.
    What `smooth` tells it is asked once in a fine panel, and interpolated in the pieces of it.
    Raises ValueError where neither `response` nor both of the others are given.

    What a piece of a panel may leave unresolved is `tolerance` times the larger of the level over the band and
    `floor_db`, for each case and setting. A level that turns out well below its first estimate has the work done again.
    """
    if samples is None and response is not None:
        samples = np.asarray(response(operator.frequency_hz[:, None], operator.sin_theta))
    if samples is None:
        raise ValueError("amplitudes needs a response, or samples and pieces")
    cases = samples.shape[:-2]
    know = _nothing if smooth is None else _by_piece(operator, smooth, cases)
    if pieces is not None:
        evaluate = _by_piece(operator, pieces, cases)
    elif response is not None:
        evaluate = _by_grid(operator, response, cases)
    else:
        raise ValueError("amplitudes needs a response, or samples and pieces")
    samples = samples.reshape(-1, *samples.shape[-2:])
    by_panel = samples.reshape(*samples.shape[:2], len(GROUPS), PANEL_NODES)
    tail = unresolved_tail(by_panel) / COARSE_CREDIT
    amplitude = apply_samples(operator=operator, samples=samples)
    level = _level(operator, apply_samples(operator=operator, samples=_calmed(by_panel).reshape(samples.shape)))
    coarse_weight = np.add.reduceat(operator.weight, FIRST_FINE, axis=1)
    allowed = np.full(level.shape, np.inf)
    while True:
        wanted = tolerance * np.maximum(level, 10.0 ** (floor_db / 20.0))
        if np.all(allowed < 3.0 * wanted):
            break
        allowed = np.minimum(allowed, wanted)
        unresolved = tail * _need(coarse_weight, allowed) > 1.0
        sharp = unresolved.any(axis=(1, 2))
        if not sharp.any():
            break
        need = np.zeros((*samples.shape[:2], FINE_PANELS))
        need[sharp] = _need(operator.weight, allowed[sharp])
        split = np.repeat(unresolved, GROUPS, axis=-1)
        fine = _fine_coefficients(evaluate=evaluate, know=know, need=need, split=split)
        resolved = np.where(unresolved[..., None], 0.0, by_panel).reshape(samples.shape)
        amplitude = apply_samples(operator=operator, samples=resolved)
        amplitude += (fine.swapaxes(0, 1) @ operator.fine).swapaxes(0, 1)
        level = _level(operator, amplitude)
    return amplitude.reshape(*cases, *amplitude.shape[1:])


def coarse_error(*, operator: Operator, samples: Complex, amplitude: Complex, floor_db: float = -90.0) -> Array:
    """What samples (cases..., F, 48) at `coarse_theta` leave open of the amplitudes (cases..., F, N) they give: the
    share of each case's level, at its worst setting, that hangs on the highest degrees of the panels. Levels below
    `floor_db` count as that.

    A lone coincidence is seen by its skirts; behind one that is seen, more may hide.
    """
    cases = samples.reshape(-1, *samples.shape[-2:]).swapaxes(0, 1)
    open_part = (cases @ operator.coarse_tail).swapaxes(0, 1).reshape(amplitude.shape)
    reached = np.maximum(power(operator=operator, amplitude=amplitude), 10.0 ** (floor_db / 10.0))
    return np.asarray(np.sqrt(np.max(power(operator=operator, amplitude=open_part) / reached, axis=-1)))


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


def _level(operator: Operator, amplitude: Complex) -> Array:
    return np.sqrt(power(operator=operator, amplitude=amplitude))


def _need(weight: Array, allowed: Array) -> Array:
    """Error of the worst setting over what is allowed (cases, N), if a whole panel of weight (F, panels, N) is open."""
    return np.asarray(np.max(weight / allowed[:, None, None, :], axis=-1) * (2.0 * FINE_HALF_RAD))


def _calmed(samples: Complex) -> Complex:
    """Samples (..., 8) cut down to their median size, so that a node on a resonance does not pass for the level."""
    size = np.maximum(np.abs(samples), np.finfo(np.float64).tiny)
    return np.asarray(samples * np.minimum(1.0, np.median(size, axis=-1, keepdims=True) / size))


def _fine_coefficients(*, evaluate: _Evaluate, know: _Know, need: Array, split: NDArray[np.bool_]) -> Complex:
    """Legendre coefficients (cases, F, 32 * 12) of the response in the fine panels marked in `split` (cases, F, 32).

    `need` (cases, F, 32) weighs what is left unresolved in a panel. A piece that leaves more than 1 is halved, and what
    `know` says of it is interpolated.
    """
    x, weights = gauss_nodes(PANEL_NODES)
    coefficients = np.zeros((*split.shape, DEGREES), dtype=np.complex128)
    case, line, panel = np.nonzero(split)
    middle, half = np.zeros(len(case)), 1.0
    known = np.empty((0, len(case), PANEL_NODES))
    for depth in range(_DEEPEST + 1):
        place = middle[:, None] + half * x
        sine = np.sin((2.0 * panel[:, None] + 1.0 + place) * FINE_HALF_RAD)
        if depth == 0:
            slow = know(case, line, sine)
            known = np.concatenate([slow.real, slow.imag])
        things = len(known) // 2
        samples = evaluate(case, line, sine, known[:things] + 1j * known[things:])
        error = unresolved_tail(samples) * need[case, line, panel] * half
        rough = (error > 1.0) & (depth < _DEEPEST)
        smooth = ~rough
        basis = legendre_table(order=DEGREES, x=place[smooth])
        share = np.einsum("lpj,pj,l->pl", basis, samples[smooth] * (half * weights), np.arange(DEGREES) + 0.5)
        np.add.at(coefficients, (case[smooth], line[smooth], panel[smooth]), share)
        if not rough.any():
            break
        half *= 0.5
        case, line, panel = (np.tile(index[rough], 2) for index in (case, line, panel))
        middle = np.concatenate([middle[rough] - half, middle[rough] + half])
        known = np.concatenate(np.split(known[:, rough] @ halving(), 2, axis=-1), axis=1)
    return coefficients.reshape(*split.shape[:2], -1)


def _by_piece(operator: Operator, ask: Callable[..., Complex], cases: tuple[int, ...]) -> Callable[..., Complex]:
    def answer(case: NDArray[np.intp], line: NDArray[np.intp], sine: Array, *known: Complex) -> Complex:
        return ask(np.unravel_index(case, cases), operator.frequency_hz[line, None], sine, *known)

    return answer


def _nothing(case: NDArray[np.intp], line: NDArray[np.intp], sine: Array) -> Complex:
    return np.empty((0, len(case), PANEL_NODES), dtype=np.complex128)


def _by_grid(operator: Operator, response: ResponseFunction, cases: tuple[int, ...]) -> _Evaluate:
    """Pieces side by side for every case and frequency, as many as the busiest has."""
    lines = len(operator.frequency_hz)
    rows = int(np.prod(cases, dtype=np.intp)) * lines

    def evaluate(case: NDArray[np.intp], line: NDArray[np.intp], sine: Array, _: Complex) -> Complex:
        row = case * lines + line
        order = np.argsort(row, kind="stable")
        first = np.searchsorted(row[order], np.arange(rows))
        slot = np.empty(len(row), dtype=np.intp)
        slot[order] = np.arange(len(row)) - first[row[order]]
        grid = np.zeros((rows, int(slot.max()) + 1, PANEL_NODES))
        grid[row, slot] = sine
        values = np.asarray(response(operator.frequency_hz[:, None], grid.reshape(*cases, lines, -1)))
        return np.asarray(values.reshape(grid.shape)[row, slot])

    return evaluate
