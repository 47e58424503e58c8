"""Places along an axis: runs of them, and their centres."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def run_about(places: Collection[int], at: int) -> list[int]:
    """Those of some places that can be reached from one of them by steps to the next, rising."""
    low = high = at
    while low - 1 in places:
        low -= 1
    while high + 1 in places:
        high += 1
    return list(range(low, high + 1))


NEXT = 0.7
"""So much of the way from a place to the next one a centre lies before the next one is nearer: the centre of a flat
region of an even number of places lies half way, and must not fall to either side by chance."""


def nearest_the_centre(settings: Sequence[int], axis: Array, weights: Array) -> int:
    """Which of some rising places on an axis is at their centre of weight, or else the last one before it, as far as
    `NEXT` of the way to the next."""
    places = axis[settings]
    turns = places[:-1] + NEXT * np.diff(places)
    return settings[int(np.searchsorted(turns, np.average(places, weights=weights)))]
