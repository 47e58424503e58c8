"""Steps in a function that should have none."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def step_in(
    read: Callable[[float], Array], low: float, high: float, *, least: float, parts: int = 24, halvings: int = 24
) -> float:
    """The greatest step that is left of a function's values between two places; one below `least` is not looked into.

    The part in which a value moves most is halved again and again, the half kept in which it moves more: where a value
    is continuous, the halves of what it moves get ever smaller. All values of a place are read at once.
    """
    read = cache(read)
    places = np.linspace(low, high, parts + 1)
    values = np.array([read(float(x)) for x in places])
    worst = 0.0
    for k, part in enumerate(np.argmax(np.abs(np.diff(values, axis=0)), axis=0)):
        left, right = places[part], places[part + 1]
        at_left, at_right = values[part, k], values[part + 1, k]
        for _ in range(halvings):
            middle = 0.5 * (left + right)
            here = read(float(middle))[k]
            if abs(here - at_left) >= abs(at_right - here):
                right, at_right = middle, here
            else:
                left, at_left = middle, here
            if abs(at_right - at_left) <= max(worst, least):
                break
        worst = max(worst, abs(at_right - at_left))
    return float(worst)
