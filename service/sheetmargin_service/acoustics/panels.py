"""Where a response is sampled over the angle to the sheet's normal, and the bases that a beam's kernel is projected on.

theta from 0 to 85 degrees, where the grazing taper ends, in 32 equal fine panels. The coarse grid joins them to 6
panels of 8 Gauss nodes: it serves responses that vary over degrees (papers, thin films). The last two Legendre
coefficients of the samples in a panel tell how far they resolve the response there.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.beam import GRAZING_END_RAD
from sheetmargin_service.acoustics.legendre import Number, gauss_nodes, legendre_table

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FINE_PANELS = 32
PANEL_NODES = 8
# Legendre degrees of the kernel in a fine panel. Off the main lobe its phase turns by up to 15 rad in a panel; what
# is lost there is 90 dB below the open path.
DEGREES = 12
# Fine panels in each coarse panel. Stiff sheets (paper in its plane, films) have a coincidence of the first symmetric
# mode near 8 degrees, so the first panels are narrow; the last ones meet side lobes only.
GROUPS = (2, 3, 4, 6, 8, 9)
_EDGES = np.linspace(0.0, GRAZING_END_RAD, FINE_PANELS + 1)
FINE_HALF_RAD = 0.5 * GRAZING_END_RAD / FINE_PANELS
FIRST_FINE = np.cumsum((0, *GROUPS[:-1]))
_COARSE_EDGES = _EDGES[np.cumsum((0, *GROUPS))]

# The kernel is smooth over a coarse panel, so 8 Gauss nodes do better than the interpolation that the last coefficients
# judge: in papers, films and boards 15 to 60 times. A part of this is used.
COARSE_CREDIT = 4.0


def coarse_theta() -> Array:
    """Angles to the sheet's normal (48,) at which every operator first asks for the response."""
    x, _ = gauss_nodes(PANEL_NODES)
    middle, half = 0.5 * (_COARSE_EDGES[1:] + _COARSE_EDGES[:-1]), 0.5 * np.diff(_COARSE_EDGES)
    return np.asarray((middle[:, None] + half[:, None] * x).ravel())


def kernel_nodes(*, extent_rad: float) -> tuple[Array, Array]:
    """Gauss nodes and weights (32 Q,) over the fine panels; the kernel's phase turns by `extent_rad` per radian."""
    x, weight = gauss_nodes(int(np.ceil(0.5 * extent_rad * FINE_HALF_RAD)) + 16)
    theta = 0.5 * (_EDGES[1:] + _EDGES[:-1])[:, None] + FINE_HALF_RAD * x
    return theta.ravel(), np.tile(FINE_HALF_RAD * weight, FINE_PANELS)


def project_kernel(kernel: NDArray[Number]) -> tuple[NDArray[Number], NDArray[Number]]:
    """Kernels (K, 32 Q) at `kernel_nodes`, times the weights, on the coarse and the fine basis: (48, K), (384, K)."""
    by_panel = kernel.reshape(len(kernel), FINE_PANELS, -1)
    x, _ = gauss_nodes(by_panel.shape[-1])
    fine = by_panel @ legendre_table(order=DEGREES, x=x).T
    nodes, weights = gauss_nodes(PANEL_NODES)
    # Lagrange polynomials of Gauss nodes: sum over l of (2l+1)/2 P_l(x) P_l(x_j) weight_j.
    degree = (np.arange(PANEL_NODES) + 0.5)[:, None]
    to_nodes = legendre_table(order=PANEL_NODES, x=nodes) * degree * weights
    coarse = np.empty((len(GROUPS), PANEL_NODES, len(kernel)), dtype=kernel.dtype)
    first = 0
    for index, count in enumerate(GROUPS):
        place = (2.0 * np.arange(count)[:, None] + 1.0 + x) / count - 1.0
        basis = np.tensordot(legendre_table(order=PANEL_NODES, x=place), to_nodes, axes=(0, 0))
        coarse[index] = np.tensordot(basis, by_panel[:, first : first + count], axes=([0, 1], [1, 2]))
        first += count
    return coarse.reshape(-1, len(kernel)), fine.reshape(len(kernel), -1).T


@cache
def _tail_projection() -> Array:
    x, weights = gauss_nodes(PANEL_NODES)
    degree = np.arange(PANEL_NODES)[:, None]
    return np.asarray(((degree + 0.5) * legendre_table(order=PANEL_NODES, x=x) * weights)[-2:].T)


def unresolved_tail(samples: Complex) -> Array:
    """Size of the last two Legendre coefficients of samples (..., 8) at Gauss nodes: (...)."""
    return np.asarray(np.abs(samples @ _tail_projection()).sum(axis=-1))


@cache
def highest_degrees() -> Array:
    """Projector (48, 48) from coarse samples to the part of them in the two highest degrees of their panels."""
    x, weights = gauss_nodes(PANEL_NODES)
    table = legendre_table(order=PANEL_NODES, x=x)[-2:]
    degree = np.arange(PANEL_NODES)[-2:, None] + 0.5
    return np.asarray(np.kron(np.eye(len(GROUPS)), (degree * table * weights).T @ table), dtype=np.float64)


@cache
def halving() -> Array:
    """Projector (8, 16) from samples at Gauss nodes of a panel to those of its two halves, by their polynomial."""
    x, weights = gauss_nodes(PANEL_NODES)
    degree = np.arange(PANEL_NODES)[:, None] + 0.5
    coefficients = degree * legendre_table(order=PANEL_NODES, x=x) * weights
    halves = np.concatenate([0.5 * x - 0.5, 0.5 * x + 0.5])
    return np.asarray(coefficients.T @ legendre_table(order=PANEL_NODES, x=halves))
