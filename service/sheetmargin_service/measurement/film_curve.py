"""A table over the films of air between two sheets, as a smooth curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.principles.ultrasonic.films import FILM_M

Array = NDArray[np.float64]
LOG_FILM = np.log(FILM_M)
LOG_STEP = float(LOG_FILM[1] - LOG_FILM[0])
"""`FILM_M` is a geometric series."""

# Catmull-Rom: cubics through the points, with the slope of their neighbours' chord; rows are powers of the fraction.
_CUBIC = 0.5 * np.array([[0.0, 2.0, 0.0, 0.0], [-1.0, 0.0, 1.0, 0.0], [2.0, -5.0, 4.0, -1.0], [-1.0, 3.0, -3.0, 1.0]])


@dataclass(frozen=True, kw_only=True)
class FilmCurve:
    """Where n films lie in a table over `FILM_M`: their four neighbours (n, 4) and what each counts (n, 4) in the value
    and in its slope over the logarithm of the film. Beyond the table the curve is level."""

    neighbours: NDArray[np.intp]
    weight: Array
    slope_weight: Array

    def value(self, table: Array, rows: NDArray[np.intp]) -> Array:
        """Values (..., n) of a table (..., P, K) in n of its rows."""
        return np.asarray((table[..., rows[:, None], self.neighbours] * self.weight).sum(axis=-1))

    def slope(self, table: Array, rows: NDArray[np.intp]) -> Array:
        """Slopes (..., n) over the logarithm of the film."""
        return np.asarray((table[..., rows[:, None], self.neighbours] * self.slope_weight).sum(axis=-1))


def film_curve(log_film: Array) -> FilmCurve:
    """The curve at films given by the logarithm of their thickness in m, (n,)."""
    place = (log_film - LOG_FILM[0]) / LOG_STEP
    inside = np.clip(place, 0.0, len(LOG_FILM) - 1.0)
    first = np.minimum(inside.astype(np.intp), len(LOG_FILM) - 2)
    u = (inside - first)[:, None]
    powers = np.concatenate([np.ones_like(u), u, u**2, u**3], axis=1)
    rates = np.concatenate([np.zeros_like(u), np.ones_like(u), 2.0 * u, 3.0 * u**2], axis=1) / LOG_STEP
    return FilmCurve(
        neighbours=np.clip(first[:, None] + np.arange(-1, 3), 0, len(LOG_FILM) - 1),
        weight=powers @ _CUBIC,
        slope_weight=np.where((place == inside)[:, None], rates @ _CUBIC, 0.0),
    )
