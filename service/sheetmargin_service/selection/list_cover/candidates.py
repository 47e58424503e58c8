"""The ways in which a job list's sheets can be served, as one table."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Position = tuple[float, float]
MOST_SHEETS = 62
"""A cover counts sheets as the bits of a whole number."""


_ABOVE_NEGATIVE = 1_000_000


def profile_of(low: float, high: float) -> str:
    """A band as the id of a profile, in the order of its edges, negative ones too."""
    return f"{int(low) + _ABOVE_NEGATIVE:07d}-{int(high) + _ABOVE_NEGATIVE:07d}"


@dataclass(frozen=True, kw_only=True)
class Candidates:
    """J ways to set a pair, in the order of class, then position, then profile, each way once.

    A position (gap and tilt) and a profile belong to their class. Among equals the earlier wins, so the two numbers of
    a position and the profiles' ids stand in the order of preference. `margin` (J, S) is the worst margin of each of S
    sheets, rounded as it ranks; -inf where a way does not serve a sheet.

    Raises ValueError for rows out of order or repeated, lengths that differ, or more sheets than there are bits.
    """

    classes: tuple[str, ...]
    positions: tuple[Position, ...]
    profiles: tuple[str, ...]
    margin: Array

    def __post_init__(self) -> None:
        ids = list(zip(self.classes, self.positions, self.profiles, strict=True))
        if any(after <= before for before, after in pairwise(ids)):
            raise ValueError("candidates must be in the order of class, position and profile, each once")
        if self.margin.ndim != 2 or self.margin.shape[0] != len(ids):
            raise ValueError(f"margin has shape {self.margin.shape} for {len(ids)} candidates")
        if self.margin.shape[1] > MOST_SHEETS:
            raise ValueError(f"there are {self.margin.shape[1]} sheets; a list has at most {MOST_SHEETS}")
