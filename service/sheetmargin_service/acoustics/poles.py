"""Poles of a sheet's transmission that lie between the real angles and the path of integration, or near the path.

Forward leaky waves have their poles below the real axis. Waves that run backward, whose energy goes against their
phase, have them above: near a plate's thickness resonances (PMMA 3 mm at 400 kHz), where leaving them out costs up to
tens of dB. A pole near the path, on either side, would need more nodes than there are.

Each such pole is taken out of the samples and put back in closed form: with theta_p and residue r,

    r h(theta),   h = 2 theta_p / (theta^2 - theta_p^2)

has the same pole and its mirror image, as T is even, and the integral of w h over the real angles is that along any
denser path that keeps away from theta_p, and 2 pi i w(theta_p) where the pole is between the two.

Poles are found from the samples: near one, theta + 2 T'/T'' is its place, and where that points to where a pole would
matter the secant method on the response itself follows.

Reference: residues of leaky-wave poles under a deformed path: Brekhovskikh and Godin, Acoustics of Layered Media II,
chapter 3; backward Lamb waves: Meitzler, JASA 38, 835 (1965).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.contour import Contour, dense_places, slopes
from sheetmargin_service.acoustics.legendre import legendre_table
from sheetmargin_service.acoustics.operators import Operator, ring

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

Evaluate = Callable[[Indices, Complex], Complex]
"""`evaluate(row, theta)`: the response of the rows (P,) at an angle each (P,)."""

NEAR_RAD = 0.018
"""Distance from the path within which a pole is taken out: beyond, the nodes resolve it."""
_BESIDE_PATH_RAD = 0.01
_LOOK_RAD = 0.006
"""By how much a pole's place is known from the samples alone, at the worst."""
_FAR_STEP_RAD = 0.06
"""Distance from a node beyond which it says nothing of where a pole lies, and from there to the pole itself."""
_LEAST_SHARE = 0.02
"""Share of a response, at the node, that a pole has which is looked for."""
_GRAZING_RAD = 1.2
_PASSES = 2
_STEPS = 12
BESIDE_RAD = 1e-6
"""Distance from a pole at which differences and limits are taken."""
_FIRST_RAD, _LONGEST_RAD, _CONVERGED_RAD, _APART_RAD = 1e-4, 0.02, 1e-6, 1e-5
"""Of the secant method: its first step, its longest, what counts as converged; and how far apart two roots are."""
_DENSE = 768


@dataclass(kw_only=True)
class PoleCount:
    """How many poles that a response is wrong without were taken out while it was open."""

    poles: int = 0


_counting: ContextVar[PoleCount | None] = ContextVar("counting", default=None)


@contextmanager
def counted_poles() -> Iterator[PoleCount]:
    """Count them in this thread."""
    count = PoleCount()
    token = _counting.set(count)
    try:
        yield count
    finally:
        _counting.reset(token)


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

    def joined(self, more: Poles) -> Poles:
        """These and some more."""
        both = (np.concatenate(pair) for pair in zip(self._parts, more._parts, strict=True))
        return Poles(**dict(zip(("row", "theta", "residue"), both, strict=True)))

    @property
    def _parts(self) -> tuple[NDArray[Any], ...]:
        return self.row, self.theta, self.residue

    def some(self, which: Indices | Flags) -> Poles:
        """Some of them."""
        return Poles(row=self.row[which], theta=self.theta[which], residue=self.residue[which])

    def moved(self, row: Indices) -> Poles:
        """The same in other rows (P,)."""
        return replace(self, row=row)


def find_poles(*, contour: Contour, samples: Complex, evaluate: Evaluate, span_rad: Array | None = None) -> Poles:
    """Poles that matter of R responses by their samples (R, S) at the nodes; looked for over a span (2, R) of real
    angles, where that is known.

    Two that lie close look like one from the nodes: what is found is taken out and the rest looked at again, once.
    """
    found = Poles.none()
    for _ in range(_PASSES if span_rad is None else 1):
        rest = take_out(contour=contour, samples=samples, poles=found) if len(found.row) else samples
        row, start = _starts(contour, rest)
        if span_rad is not None:
            inside = (start.real > span_rad[0, row]) & (start.real < span_rad[1, row])
            row, start = row[inside], start[inside]
        if not len(row):
            break
        more = _settle(*_secant(_without(evaluate, found), row, start), row=row)
        if not len(more.row):
            break
        found = found.joined(more)
    return found.some(_matters(contour, found.theta, 0.0))


def find_poles_of_halves(
    *, contour: Contour, halves: Complex, evaluate_halves: Evaluate, evaluate: Evaluate, span_rad: Array
) -> Poles:
    """Poles that matter of R responses that are the product of two `halves` (2, R, S) and a smooth rest, by those of
    the halves: the poles of one lie close to those of the other, but each half has them apart. They are looked for over
    a span (2, R) of real angles."""
    rows = halves.shape[1]

    def one(row: Indices, theta: Complex) -> Complex:
        both = evaluate_halves(row % rows, theta)
        return np.asarray(np.where(row < rows, both[0], both[1]))

    found = find_poles(
        contour=contour, samples=halves.reshape(2 * rows, -1), evaluate=one, span_rad=np.tile(span_rad, 2)
    )
    row, beside = found.row % rows, found.theta + BESIDE_RAD
    with np.errstate(all="ignore"):
        # The half that has the pole may be endless there; only the other one is used.
        here, near = evaluate_halves(row, found.theta), evaluate_halves(row, beside)
        rest = evaluate(row, beside) / (near[0] * near[1])
        # The other half at the pole itself, so that what close poles give cancels as it should.
        residue = found.residue * np.where(found.row < rows, here[1], here[0]) * rest
    poles = Poles(row=row, theta=found.theta, residue=residue)
    # Where sheets pass nothing but rounding, nothing is a pole.
    return poles.some(np.isfinite(residue))


def _starts(contour: Contour, samples: Complex) -> tuple[Indices, Complex]:
    """Rows and guesses of poles that may matter, from the nodes that are nearest to one: 2 T'/T'' leads from there to a
    pole above an even background."""
    rise = samples @ slopes(contour)
    with np.errstate(all="ignore"):
        step = 2.0 * rise / (rise @ slopes(contour))
    size = step.real**2 + step.imag**2
    with np.errstate(all="ignore"):
        least = (size < _FAR_STEP_RAD**2) & (np.abs(rise * step) > _LEAST_SHARE * np.abs(samples))
    least[:, 1:] &= size[:, 1:] <= size[:, :-1]
    least[:, :-1] &= size[:, :-1] <= size[:, 1:]
    row, place = np.nonzero(least)
    guess = contour.theta[place] + step[row, place]
    near = _matters(contour, guess, _LOOK_RAD)
    row, guess = row[near], guess[near]
    first = _each_once(row, guess, 2.0 * _LOOK_RAD)
    return row[first], guess[first]


def _settle(root: Complex, slope: Complex, settled: Flags, *, row: Indices) -> Poles:
    """Roots that were found as poles, each once. A root and its mirror image are one."""
    turned = np.where(root.real < 0.0, -1.0, 1.0)
    root, slope = root * turned, slope * turned
    settled = settled & (np.abs(root) < _GRAZING_RAD)
    row, root, slope = row[settled], root[settled], slope[settled]
    first = _each_once(row, root, _APART_RAD)
    return Poles(row=row[first], theta=root[first], residue=1.0 / slope[first])


def _each_once(row: Indices, theta: Complex, apart_rad: float) -> Indices:
    """Places of angles (P,) with one of those in a row that are nearer to each other than about half of `apart_rad`."""
    kept = np.arange(len(row))
    # Four grids, half a cell apart, so that neighbours share a cell of some of them.
    for shift in (0.0, 0.5, 0.5j, 0.5 + 0.5j):
        scaled = theta[kept] / apart_rad + shift
        cells = np.rint(scaled.real) + 1j * (np.rint(scaled.imag) + 1e7 * row[kept])
        _, first = np.unique(cells, return_index=True)
        kept = kept[first]
    return kept


def _without(evaluate: Evaluate, poles: Poles) -> Evaluate:
    """A response without some of its poles."""
    if not len(poles.row):
        return evaluate
    order = np.argsort(poles.row, kind="stable")
    poles = poles.some(order)

    def rest(row: Indices, theta: Complex) -> Complex:
        value = evaluate(row, theta)
        first, end = np.searchsorted(poles.row, row, "left"), np.searchsorted(poles.row, row, "right")
        for number in range(int(np.max(end - first, initial=0))):
            has = first + number < end
            which = (first + number)[has]
            value[has] -= poles.residue[which] * _pair(theta[has], poles.theta[which])
        return value

    return rest


def _matters(contour: Contour, theta: Complex, doubt_rad: float) -> Flags:
    """Whether poles (P,) lie between the real axis and the path or near the path, `doubt_rad` granted; not at grazing,
    where sheets pass nothing."""
    upright = np.where(theta.real < 0.0, -theta, theta)
    height = contour.height_rad(upright.real)
    between = (upright.imag > -0.1 * doubt_rad) & (upright.imag < height)
    # Where the path rises, by one in one, it is nearer than straight above.
    reach = (NEAR_RAD + doubt_rad) * (1.0 + 0.4 * (upright.real < 2.0 * contour.depth_rad))
    return np.asarray((between | (np.abs(upright.imag - height) < reach)) & (upright.real < _GRAZING_RAD))


def _secant(evaluate: Evaluate, row: Indices, start: Complex) -> tuple[Complex, Complex, Flags]:
    """Roots of 1/T from `start` (P,), the slope of 1/T there, and where the secant method has converged."""
    root, slope = start.copy(), np.ones_like(start)
    settled = np.zeros(len(root), dtype=np.bool_)
    going = np.arange(len(root))
    before = start + _FIRST_RAD
    with np.errstate(all="ignore"):
        value_before, value = 1.0 / evaluate(row, before), 1.0 / evaluate(row, start)
        for _ in range(_STEPS):
            step = -value * (root[going] - before) / (value - value_before)
            size = np.abs(step)
            sound = np.isfinite(size) & (np.abs(root[going] - start[going]) < _FAR_STEP_RAD)
            settled[going] = sound & (size < _CONVERGED_RAD)
            before = root[going]
            root[going] += np.where(sound, step, 0.0) * np.minimum(1.0, _LONGEST_RAD / np.maximum(size, _LONGEST_RAD))
            keep = sound & (size >= _CONVERGED_RAD)
            going, before, value_before = going[keep], before[keep], value[keep]
            if not len(going):
                break
            value = 1.0 / evaluate(row[going], root[going])
        at = np.flatnonzero(settled)
        above, below = (1.0 / evaluate(row[at], root[at] + sign * BESIDE_RAD) for sign in (1.0, -1.0))
        slope[at] = (above - below) / (2.0 * BESIDE_RAD)
    # Where a response is nothing but rounding, nothing is a pole.
    none = ~np.isfinite(slope) | (slope == 0.0)
    settled[none], slope[none] = False, 1.0
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


@lru_cache(maxsize=8)
def _kernel(contour: Contour, order: int) -> Complex:
    """Kernels of the moments (order, Q) along a path, with its measure."""
    run = _run(contour, _DENSE)
    return np.asarray(legendre_table(order=order, x=np.cos(run.theta)) * (ring(run.theta) * run.measure))


def unresolved(*, contour: Contour, poles: Poles) -> Flags:
    """Which poles lie so that a response that has one like it is wrong without it, (P,): between the real axis and the
    path, or right beside the path."""
    height = contour.height_rad(poles.theta.real)
    between = (poles.theta.imag > 0.0) & (poles.theta.imag < height)
    return np.asarray(between | (np.abs(poles.theta.imag - height) < _BESIDE_PATH_RAD))


def take_out(*, contour: Contour, samples: Complex, poles: Poles) -> Complex:
    """The samples (R, S) without the poles."""
    count = _counting.get()
    if count is not None:
        count.poles += int(np.count_nonzero(unresolved(contour=contour, poles=poles)))
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
