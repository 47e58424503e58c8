"""Legendre expansions of band-limited functions of direction.

A field whose sources lie within a radius r has, over all directions, a Legendre series that ends at an order a little
above k r. Averaged over azimuth about an axis that is turned by an angle t, P_n(cos) becomes P_n(cos) P_n(cos t): the
addition theorem (NIST Digital Library of Mathematical Functions, 14.18.1, averaged). It turns integrals over a tilted
beam into sums.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import roots_legendre

Array = NDArray[np.float64]
Number = TypeVar("Number", np.float64, np.complex128)


def series_order(*, extent_rad: float) -> int:
    """Terms after which the series of a field of `extent_rad` (wavenumber times radius) falls below about 1e-12.

    Spherical Bessel functions die away beyond an order of x + c x^(1/3); c = 8 and 12 terms more cover 12 digits.
    Rounded up to a multiple of 16, so that nodes and tables serve again.
    """
    return 16 * int(np.ceil((extent_rad + 8.0 * np.cbrt(extent_rad) + 12.0) / 16.0))


@lru_cache(maxsize=256)
def gauss_nodes(count: int) -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre quadrature on [-1, 1], read-only."""
    nodes, weights = roots_legendre(count)
    nodes.setflags(write=False)
    weights.setflags(write=False)
    return nodes, weights


def legendre_table(*, order: int, x: NDArray[Number]) -> NDArray[Number]:
    """P_0 to P_(order-1) at the points `x` (any shape): (order, *x.shape). Bonnet's recursion, stable on [-1, 1]; off
    the real axis P_n grows fastest of all solutions, so that it is stable there too."""
    table = np.empty((order, *np.shape(x)), dtype=x.dtype)
    table[0] = 1.0
    if order > 1:
        table[1] = x
    for n in range(1, order - 1):
        table[n + 1] = ((2 * n + 1) * x * table[n] - n * table[n - 1]) / (n + 1)
    return table


def series_coefficients(*, samples: NDArray[Number], order: int) -> NDArray[Number]:
    """Coefficients c_n, n < order, of sum c_n P_n from samples (..., Q) at the Q Gauss nodes, Q > order."""
    nodes, weights = gauss_nodes(np.shape(samples)[-1])
    projection = (np.arange(order) + 0.5)[:, None] * legendre_table(order=order, x=nodes) * weights
    return np.asarray(samples @ projection.T)
