"""The path in the complex plane along which a beam's plane waves are added up.

The transmission of a plate has a pole for each of its leaky waves, as close below the real angles as the wave loses
little (time factor e^(+i w t)): a coincidence that is 0.001 degrees wide. The kernel of the beam has none, so the
integral over the angle to the sheet's normal may run above the real axis, where nothing is sharp (Cauchy's theorem):

    theta = t + i h(t),   h(t) = d tanh(t/d) (1 + g q/(1 + q)) tanh((t_end - t)/w),   q = (t/t_0)^2,

with its ends on the axis. The kernel grows above the axis, like e^(k gap h sin(tilt - t)): the deeper the path, the
more of what is added cancels, which leaves room for more depth where t is large. Along it t = t_end sinh(a s)/sinh(a),
which puts more of the Gauss nodes in s where plates have their coincidences; everything is even in s, so that those of
s > 0 serve both sides.

Waves that run backward, near the thickness resonances of a plate, have their poles above the axis: see `poles`.

Reference: steepest descent and deformed paths through leaky-wave poles: Brekhovskikh and Godin, Acoustics of Layered
Media II, chapter 3.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.beam import GRAZING_END_RAD
from sheetmargin_service.acoustics.legendre import gauss_nodes, legendre_table
from sheetmargin_service.cached import cached_property

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

DEPTH_RAD = 0.03
NODES = 96
_NODE_STEP = 16
_LEAST_TILT = 0.7
USUAL_TURN = 290.0
"""Depth and nodes of the usual path. It serves beams up to this k gap sin(tilt), in radians: the levels of plates are
then within 0.03 dB of those by many times the nodes at tilts to 45 degrees and 0.11 dB at 60, and what the kernel adds
up stays below ten times the open path."""
_TURN_A_NODE = 2.5
"""Radians for each node of the path of a larger beam; its depth falls as its nodes rise."""
_GROWTH, _GROWTH_RAD = 0.5, 0.5
_END_RAD = 0.06
_STRETCH = 2.5


@dataclass(frozen=True, kw_only=True)
class Contour:
    """A path of some depth and its nodes S."""

    depth_rad: float = DEPTH_RAD
    nodes: int = NODES

    @cached_property
    def theta(self) -> Complex:
        """Angles to the sheet's normal at the nodes, (S,), read-only and the same array at every call."""
        return _nodes(self)[0]

    @cached_property
    def sin_theta(self) -> Complex:
        return _nodes(self)[1]

    def height_rad(self, t_rad: Array) -> Array:
        """How far above the real axis the path runs over `t_rad`, any shape; 0 beyond its ends."""
        return np.asarray(self._at(np.clip(t_rad, 0.0, GRAZING_END_RAD))[0].imag)

    def run(self, s: Array) -> tuple[Complex, Complex]:
        """Angle and its derivative by s at places `s` from 0 to 1."""
        scale = GRAZING_END_RAD / np.sinh(_STRETCH)
        theta, slope = self._at(scale * np.sinh(_STRETCH * s))
        return theta, slope * (scale * _STRETCH * np.cosh(_STRETCH * s))

    def _at(self, t: Array) -> tuple[Complex, Complex]:
        """theta and its derivative by t, along t."""
        start, end = np.tanh(t / self.depth_rad), np.tanh((GRAZING_END_RAD - t) / _END_RAD)
        q = (t / _GROWTH_RAD) ** 2
        middle = 1.0 + _GROWTH * q / (1.0 + q)
        rise = (1.0 - start**2) / self.depth_rad * middle * end
        rise += start * (2.0 * _GROWTH * t / _GROWTH_RAD**2) / (1.0 + q) ** 2 * end
        rise -= start * middle * (1.0 - end**2) / _END_RAD
        return t + 1j * self.depth_rad * start * middle * end, 1.0 + 1j * self.depth_rad * rise


def contour_for(*, gap_rad: float, tilt_rad: float) -> Contour:
    """The path for beams up to k gap = `gap_rad` and a tilt."""
    # Square on, too, side lobes turn as fast, far off the axis.
    turn = gap_rad * max(float(np.sin(tilt_rad)), _LEAST_TILT)
    if turn <= USUAL_TURN:
        return Contour()
    # Few different ones, so that classes share what is computed on theirs.
    nodes = _NODE_STEP * ceil(turn / _TURN_A_NODE / _NODE_STEP)
    return Contour(depth_rad=DEPTH_RAD * NODES / nodes, nodes=nodes)


@lru_cache(maxsize=32)
def _nodes(contour: Contour) -> tuple[Complex, Complex]:
    theta, _ = contour.run(_places(contour.nodes)[0])
    both = theta, np.sin(theta)
    for array in both:
        array.setflags(write=False)
    return both


def _places(nodes: int) -> tuple[Array, Array]:
    """The nodes in s > 0 of twice as many Gauss nodes on [-1, 1], and their weights."""
    x, weights = gauss_nodes(2 * nodes)
    return x[nodes:], weights[nodes:]


@lru_cache(maxsize=32)
def _even_projection(nodes: int) -> Array:
    """(l, j): from even samples at the nodes j to their coefficients in P_0, P_2, ... of s."""
    x, weights = _places(nodes)
    even = legendre_table(order=2 * nodes, x=x)[::2]
    return np.asarray((4.0 * np.arange(nodes) + 1.0)[:, None] * even * weights)


def project_kernel(contour: Contour, kernel: Complex, *, places: Array, measure: Array) -> Complex:
    """Weights (S, K) of samples at the contour's nodes for integrals over s from 0 to 1 of them times a kernel: that is
    given as (Q, K) at Gauss `places` (Q,) of s, fine enough for it, with the weights `measure` (Q,)."""
    even = legendre_table(order=2 * contour.nodes, x=places)[::2]
    return np.asarray(_even_projection(contour.nodes).T @ ((even * measure) @ kernel))


@lru_cache(maxsize=32)
def slopes(contour: Contour) -> Complex:
    """(j, i): from even samples at the nodes j to their derivatives by theta at the nodes i."""
    x, _ = _places(contour.nodes)
    order = 2 * contour.nodes
    table = legendre_table(order=order, x=x)
    degree = np.arange(1.0, order)[:, None]
    rise = np.zeros_like(table)
    rise[1:] = degree * (x * table[1:] - table[:-1]) / (x * x - 1.0)
    return np.asarray(_even_projection(contour.nodes).T @ rise[::2] / contour.run(x)[1])


def dense_places(count: int) -> tuple[Array, Array]:
    """Many places of s from 0 to 1, and their weights."""
    x, weights = gauss_nodes(count)
    return 0.5 * (1.0 + x), 0.5 * weights
