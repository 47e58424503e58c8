"""What is fixed for a job but not known of it, as joint draws.

Two levels are kept apart. What differs from event to event within one job (the film of this double, formation, flutter,
noise) makes the rate of an error; what is the same for all of a job, or from one teaching to the next (the stiffness of
this stock, its mean mass, where its films lie, drift), is drawn here, once for every sheet and class. For each draw
there is a rate: over the draws it has a median, an interval, and a chance to be low enough.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from sheetmargin_service.tables import read_text

Array = NDArray[np.float64]

COUNT = 256
"""Draws: a scrambled net of two to the eighth. The chance is smooth over drift besides, which is integrated."""
UNKNOWNS = (
    "stiffness",
    "loss",
    "mass",
    "permeance",
    "film",
    "loose",
    "blocked",
    "tilt",
    "constants",
    "other-constants",
    "thickness",
    "moisture",
    "resistivity",
    "permeability",
    "gap",
    "bypass",
    "stiffness-2",
    "stiffness-3",
)
"""What is drawn, each a dimension of its own in this order, whichever class asks."""
SEED = 21
POINTS, BITS = "draws.csv", 30
"""File of the points, as multiples of 2^-BITS: scipy.stats, which makes them, takes a third of a second to import."""
REACH = 2.5
"""Standard deviations to which a draw goes: beyond, what levels do is not known either."""
PLACES, FEW_PLACES = 51, 7
"""Places at which a percentile is integrated over the unknown that is bent most, and over the others together."""
STRAIGHT = 1e-9
"""Less bend than this share of the slope is rounding."""
LIKE = 0.25
"""Standard deviations of a quantity within which draws count as like: fewer would be too few."""
DRIFTS = np.linspace(-4.0, 4.0, 17)
"""Drift, in standard deviations, at which rates are computed: it moves every state alike, and is integrated over."""


@cache
def _table() -> Array:
    """Standard normal draws (COUNT, unknowns): scrambled Sobol points (Owen, J. Complexity 14, 466, 1998)."""
    rows = read_text(__package__, POINTS).splitlines()
    points = np.array([row.split(",") for row in rows], dtype=np.float64) / 2**BITS
    table: Array = np.clip(ndtri(points), -REACH, REACH)
    table.setflags(write=False)
    return table


def points_written() -> str:
    """The text of `POINTS`, anew."""
    from scipy.stats import qmc  # noqa: TID251 - only to write the file

    points = qmc.Sobol(d=len(UNKNOWNS), bits=BITS, scramble=True, rng=np.random.default_rng(SEED)).random(COUNT)
    return "".join(",".join(map(str, row)) + "\n" for row in (points * 2**BITS).astype(np.int64).tolist())


def drawn(unknown: str) -> Array:
    """Standard normal draws of one unknown, (COUNT,), the same for every sheet and class.

    Raises ValueError for a name that is not one of `UNKNOWNS`.
    """
    return _table()[:, UNKNOWNS.index(unknown)]


def resampled(weights: Array) -> NDArray[np.intp]:
    """Indices of draws (COUNT,), each as often as its weight asks for to within one, from weights that sum to 1."""
    places = (np.arange(COUNT) + 0.5) / COUNT
    return np.minimum(np.searchsorted(np.cumsum(weights), places), len(weights) - 1)


def are_bent(slopes: Array, bends: Array) -> NDArray[np.bool_]:
    """Which parabolas (U, M) bend by more than rounding, (U,)."""
    return np.asarray(np.abs(bends).max(axis=1) > STRAIGHT * np.abs(slopes).max(axis=1))


def sum_of_parabolas(slopes: Array, bends: Array, weights: Array) -> tuple[Array, Array]:
    """What parabolas s z + b z^2, slopes and bends (U, M) over a standard normal variable each, come to together at
    places (P, M), and how likely each place is (P,): the one that is bent most, by `weights` (M,), by itself over as
    much as is drawn of it, the others as one."""
    order = np.argsort(np.abs(bends) @ weights, kind="stable")
    slopes, bends = slopes[order], bends[order]
    z, shares, x, few = _places()
    values = slopes[-1] * z[:, None] + bends[-1] * z[:, None] ** 2
    if len(order) > 1:
        mean, slope, bend = one_parabola(slopes[:-1], bends[:-1])
        moved = mean + slope * x[:, None] + bend * (x[:, None] ** 2 - 1.0)
        values = (values[:, None] + moved).reshape(-1, len(weights))
        shares = np.multiply.outer(shares, few).ravel()
    return values, shares


@cache
def _places() -> tuple[Array, Array, Array, Array]:
    """Places over the unknown that is bent most and how likely they are, and likewise over the others together."""
    z = np.linspace(-REACH, REACH, PLACES)
    shares = np.diff(ndtr(np.concatenate([[-np.inf], 0.5 * (z[1:] + z[:-1]), [np.inf]])))
    x, few = np.polynomial.hermite_e.hermegauss(FEW_PLACES)
    return z, shares, x, few / few.sum()


def one_parabola(slopes: Array, bends: Array) -> tuple[Array, Array, Array]:
    """Mean, slope s and bend b (...) of m + s z + b (z^2 - 1) over a standard normal z that has the mean, variance and
    third cumulant of the sum of parabolas s z + b z^2, (U, ...), each over a variable of its own."""
    variance = (slopes**2 + 2.0 * bends**2).sum(axis=0)
    third = (6.0 * slopes**2 * bends + 8.0 * bends**3).sum(axis=0)
    # 6 v b - 4 b^3 = k, by the sine of three times an angle.
    reach = np.sqrt(2.0 * variance)
    share = np.divide(third, reach**3, out=np.zeros_like(third), where=reach > 0.0)
    bend = reach * np.sin(np.arcsin(np.clip(share, -1.0, 1.0)) / 3.0)
    return bends.sum(axis=0), np.sqrt(np.maximum(variance - 2.0 * bend**2, 0.0)), bend


@cache
def drift_weights() -> Array:
    """How likely each of `DRIFTS` is."""
    weights = np.exp(-0.5 * DRIFTS**2)
    return np.asarray(weights / weights.sum())


def over_draws(values: Array) -> tuple[Array, Array]:
    """Values by draw and drift, (COUNT or 1, drifts), in one row, and how likely each is."""
    return values.ravel(), np.broadcast_to(drift_weights(), values.shape).ravel() / len(values)


def chance_of(excess: Array) -> float:
    """The chance that something is at most 0, given at each draw and drift, (COUNT or 1, drifts).

    Between two drifts it runs straight; how likely drift is up to where it crosses 0 is the normal law itself.
    """
    return float(passing(excess).mean())


def passing(excess: Array) -> Array:
    """The same for each draw, (COUNT or 1,)."""
    before, after = excess[:, :-1], excess[:, 1:]
    starts, ends = before <= 0.0, after <= 0.0
    below = ndtr(DRIFTS)
    between = np.where(starts & ends, np.diff(below), 0.0)
    turns = starts != ends
    place = np.nonzero(turns)[1]
    share = np.clip(before[turns] / (before[turns] - after[turns]), 0.0, 1.0)
    crossing = ndtr(DRIFTS[place] + (DRIFTS[1] - DRIFTS[0]) * share)
    # What passes between two drifts lies from the one that passes to the crossing, or to the other one.
    between[turns] = np.where(starts[turns], crossing - below[place], below[place + 1] - crossing)
    # Beyond the ends it is as at the ends.
    return np.asarray(between.sum(axis=1) + below[0] * starts[:, 0] + (1.0 - below[-1]) * ends[:, -1])


def conditional_chances(quantity: Array, passes: Array, *, at: Array, width: float) -> tuple[Array, Array]:
    """The chance where a standardised quantity (J,) turns out to lie at some places (P,), from what passes in each draw
    (J,), and the variance of its error by the number of draws: their means by a Gaussian of some width, with a straight
    line through them so that the ends of the draws do not bend it."""
    off = quantity - at[:, None]
    weights = np.exp(-0.5 * (off / width) ** 2)
    moments = [(weights * off**power).sum(axis=1) for power in range(3)]
    lever = weights * (moments[2][:, None] - off * moments[1][:, None])
    lever /= lever.sum(axis=1, keepdims=True)
    means = lever @ passes
    residual = (weights * (passes - means[:, None]) ** 2).sum(axis=1) / moments[0]
    return np.clip(means, 0.0, 1.0), residual * np.square(lever).sum(axis=1)


def weighted_quantiles(values: Array, weights: Array, wanted: tuple[float, ...]) -> list[float]:
    """Quantiles of values (M,) with weights (M,) that sum to 1, between the middles of their steps: straight over the
    normal variable of that share, which is drift itself where nothing else varies."""
    order = np.argsort(values, kind="stable")
    steps = np.cumsum(weights[order]) - 0.5 * weights[order]
    after = np.searchsorted(steps, wanted)
    about = np.clip(np.stack([after - 1, after]), 0, len(steps) - 1)
    rising, around = ndtri(np.clip(steps[about], 1e-15, 1.0 - 1e-15)), values[order[about]]
    places = zip(ndtri(np.array(wanted)), rising.T, around.T, strict=True)
    return [float(np.interp(z, *two)) for z, *two in places]
