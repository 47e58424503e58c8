"""Poles of a sheet's transmission that lie between the real angles and the path of integration, or near the path.

Forward leaky waves have their poles below the real axis. Waves that run backward, whose energy goes against their
phase, have them above: near a plate's thickness resonances (PMMA 3 mm at 400 kHz), where leaving them out costs up to
tens of dB. A pole near the path, on either side, would need more nodes than there are.

Each such pole is taken out of the samples and put back in closed form: with theta_p and residue r,

    r h(theta),   h = 2 theta_p / (theta^2 - theta_p^2)

has the same pole and its mirror image, as T is even, and the integral of w h over the real angles is that along any
denser path that keeps away from theta_p, and 2 pi i w(theta_p) where the pole is between the two.

Poles are found from the samples: T is rational but for its essential singularities at infinity, and theta + T/T' is
Newton's step for a root of 1/T. Steps that point to where a pole would matter are followed by Newton's method on the
response itself.

Reference: residues of leaky-wave poles under a deformed path: Brekhovskikh and Godin, Acoustics of Layered Media II,
chapter 3; backward Lamb waves: Meitzler, JASA 38, 835 (1965).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.contour import Contour, dense_places, slopes
from sheetmargin_service.acoustics.legendre import legendre_table
from sheetmargin_service.acoustics.operators import Operator, ring

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]

Evaluate = Callable[[Indices, Complex], Complex]
"""`evaluate(row, theta)`: the response of the rows (P,) at some angles each (P, 3)."""

NEAR_RAD = 0.022
"""Distance from the path within which a pole is taken out: beyond, the nodes resolve it."""
_LOOK_RAD = 0.01
"""By how much a pole's place is known from the samples alone, at the worst."""
_FAR_STEP_RAD = 0.06
"""Newton's step from a node beyond which it says nothing of where a pole lies."""
_STEPS = 14
_DIFFERENCE_RAD = 1e-6
_CONVERGED_RAD = 1e-8
_DENSE = 768


@dataclass(frozen=True, kw_only=True)
class Poles:
    """P poles: the row of the samples that has each, its angle and its residue."""

    row: Indices
    theta: Complex
    residue: Complex

    @staticmethod
    def none() -> Poles:
        nothing = np.empty(0, dtype=np.complex128)
        return Poles(row=np.empty(0, dtype=np.intp), theta=nothing, residue=nothing)

    def some(self, which: Indices | NDArray[np.bool_]) -> Poles:
        """Some of them."""
        return Poles(row=self.row[which], theta=self.theta[which], residue=self.residue[which])


def find_poles(*, contour: Contour, samples: Complex, evaluate: Evaluate) -> Poles:
    """Poles that matter of R responses by their samples (R, S) at the nodes."""
    theta = contour.theta
    guess = theta + samples / (samples @ slopes(contour))
    near = np.abs(guess - theta) < _FAR_STEP_RAD
    near[near] &= _matters(contour, guess[near], _LOOK_RAD)
    row, place = np.nonzero(near)
    row, start = _first_of_each(row, guess[row, place], 0.2 * _LOOK_RAD)
    root, slope, settled = _newton(evaluate, row, start)
    # A root and its mirror image are one pole.
    turned = np.where(root.real < 0.0, -1.0, 1.0)
    root, slope = root * turned, slope * turned
    settled &= _matters(contour, root, 0.0)
    row, root, slope = row[settled], root[settled], slope[settled]
    _, first = np.unique(np.stack([row, np.rint(root.real * 1e6), np.rint(root.imag * 1e6)]), axis=1, return_index=True)
    return Poles(row=row[first], theta=root[first], residue=1.0 / slope[first])


def _matters(contour: Contour, theta: Complex, doubt_rad: float) -> NDArray[np.bool_]:
    """Whether poles (P,) lie between the real axis and the path or near the path, `doubt_rad` granted; not at grazing,
    where sheets pass nothing."""
    upright = np.where(theta.real < 0.0, -theta, theta)
    between = (upright.imag > 0.1 * -doubt_rad) & (upright.imag < contour.height_rad(upright.real))
    distance = np.min(np.abs(upright[:, None] - _close(contour).theta), axis=1)
    return np.asarray((between | (distance < NEAR_RAD + doubt_rad)) & (upright.real < 1.2))


def _first_of_each(row: Indices, guess: Complex, apart_rad: float) -> tuple[Indices, Complex]:
    """One of the guesses of each row that lie in one cell of a grid."""
    cells = np.stack([row, np.rint(guess.real / apart_rad), np.rint(guess.imag / apart_rad)])
    _, first = np.unique(cells, axis=1, return_index=True)
    return row[first], guess[first]


def _newton(evaluate: Evaluate, row: Indices, start: Complex) -> tuple[Complex, Complex, NDArray[np.bool_]]:
    """Roots of 1/T from `start` (P,), the slope of 1/T there, and where Newton's method has converged."""
    root, slope = start.copy(), np.ones_like(start)
    settled = np.zeros(len(root), dtype=np.bool_)
    going = np.arange(len(root))
    for _ in range(_STEPS):
        if not len(going):
            break
        at = root[going]
        with np.errstate(all="ignore"):
            below, here, above = (1.0 / evaluate(row[going], at[:, None] + _DIFFERENCE_RAD * np.arange(-1.0, 2.0))).T
            rise = (above - below) / (2.0 * _DIFFERENCE_RAD)
            step = -here / rise
        sound = np.isfinite(step)
        step = np.where(sound, step, 0.0)
        root[going] = at + step * np.minimum(1.0, 0.03 / np.maximum(np.abs(step), 1e-300))
        slope[going] = rise
        done = sound & (np.abs(step) < _CONVERGED_RAD)
        settled[going] = done
        going = going[sound & ~done & (np.abs(root[going]) < 2.0)]
    return root, slope, settled


@dataclass(frozen=True, kw_only=True)
class _Run:
    """A path in many places: their angles, and the measure of an integral over the angle there, (Q,) each."""

    contour: Contour
    theta: Complex
    measure: Complex


@lru_cache(maxsize=64)
def _run(contour: Contour, count: int) -> _Run:
    places, weights = dense_places(count)
    theta, slope = contour.run(places)
    return _Run(contour=contour, theta=theta, measure=slope * weights)


def _close(contour: Contour) -> _Run:
    return _run(contour, 4 * contour.nodes)


@lru_cache(maxsize=8)
def _kernel(contour: Contour, order: int) -> Complex:
    """Kernels of the moments (order, Q) along a path, with its measure."""
    run = _run(contour, _DENSE)
    return np.asarray(legendre_table(order=order, x=np.cos(run.theta)) * (ring(run.theta) * run.measure))


def take_out(*, contour: Contour, samples: Complex, poles: Poles) -> Complex:
    """The samples (R, S) without the poles."""
    rest = samples.copy()
    np.subtract.at(rest, poles.row, poles.residue[:, None] * _pair(contour.theta, poles.theta[:, None]))
    return rest


def put_back(*, operator: Operator, line: int, poles: Poles) -> Complex:
    """What the poles give, (P, N), at a frequency of an operator."""
    c, order = operator.contour, operator.series.shape[-1]
    ways = [c, Contour(depth_rad=0.5 * c.depth_rad, nodes=c.nodes)]
    away = np.argmax([np.min(np.abs(_run(way, _DENSE).theta - poles.theta[:, None]), axis=1) for way in ways], axis=0)
    given = np.empty((len(poles.row), operator.at_nodes.shape[-1]), dtype=np.complex128)
    for number, way in enumerate(ways):
        own = np.flatnonzero(away == number)
        if not len(own):
            continue
        theta = poles.theta[own]
        # The order of the products decides their cost: many settings of few poles, or many poles at one setting.
        whole = np.linalg.multi_dot(
            [_pair(_run(way, _DENSE).theta, theta[:, None]), _kernel(way, order).T, operator.orders(line)]
        )
        below = (theta.imag > 0.0) & (theta.imag < way.height_rad(theta.real))
        at = theta[below]
        kernel = (2j * np.pi * ring(at) * legendre_table(order=order, x=np.cos(at))).T @ operator.orders(line)
        whole[below] += kernel
        given[own] = poles.residue[own, None] * whole
    return given


def _pair(theta: Complex, pole: Complex) -> Complex:
    return np.asarray(2.0 * pole / (theta * theta - pole * pole))
