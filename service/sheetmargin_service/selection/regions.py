"""Regions of a grid that is numbered row by row, and their middles."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def connected(settings: Iterable[int], start: int, *, width: int) -> list[int]:
    """The places that can be reached from one by steps along rows of `width` and across them, rising."""
    left, edge, region = set(settings) - {start}, [start], [start]
    while edge:
        at = edge.pop()
        along = [at - 1] * (at % width > 0) + [at + 1] * (at % width < width - 1)
        new = [setting for setting in (at - width, at + width, *along) if setting in left]
        left.difference_update(new)
        region += new
        edge += new
    return sorted(region)


def longest_run(numbers: Sequence[int]) -> list[int]:
    """The longest run without a gap of rising numbers, the first of equals."""
    runs = [[number for _, number in run] for _, run in groupby(enumerate(numbers), key=lambda pair: pair[1] - pair[0])]
    return max(runs, key=len)


def nearest_the_middle(settings: Sequence[int], axis: Array) -> int:
    """Which of some rising places on an axis is nearest to the middle between the first and the last; the first of
    equals."""
    middle = 0.5 * (axis[settings[0]] + axis[settings[-1]])
    return min(settings, key=lambda setting: abs(float(axis[setting]) - middle))
