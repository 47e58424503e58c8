"""Small set covers over bit masks: one bit a sheet, one mask for what serves it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]


def needed(serves: Flags, *, drop: bool = True) -> Index:
    """Entries (N,) along the first axis of `serves` (N, M) that serve somebody.

    With `drop`, without those that another one replaces: it serves all that they serve; of equals the first stays.
    """
    useful = serves.any(axis=1)
    if drop:
        flat = serves.astype(np.float32)
        lacks = flat @ (1.0 - flat).T > 0.0  # [a, b]: a serves somebody whom b does not
        order = np.arange(len(flat))
        useful &= ~np.any(~lacks & (lacks.T | (order[None, :] < order[:, None])), axis=1)
    return np.flatnonzero(useful)


class SetCover:
    """Masks that together are to serve everyone."""

    def __init__(self, serves: Flags) -> None:
        """`serves` (N, S), S at most 62."""
        sheets = serves.shape[1]
        self._masks: list[int] = (serves @ (1 << np.arange(sheets))).tolist()
        self._everyone = (1 << sheets) - 1
        kept = _undominated(self._masks)
        by_sheet = [[mask for mask in kept if mask >> sheet & 1] for sheet in range(sheets)]
        # Sheets with few masks are branched on first.
        self._by_sheet = sorted(((1 << s, masks) for s, masks in enumerate(by_sheet)), key=lambda pair: len(pair[1]))

    def within(self, count: int) -> bool:
        """Whether `count` masks can serve everyone."""
        return self._finish(self._everyone, count)

    def fewest(self, *, most: int) -> int | None:
        """The least number of masks that serve everyone; None where that is above `most`."""
        return next((count for count in range(1, most + 1) if self.within(count)), None)

    def first(self, count: int) -> list[int]:
        """Of the covers of `count` masks, the fewest there can be, the one whose places come first in order."""
        chosen: list[int] = []
        unserved = self._everyone
        for place, mask in enumerate(self._masks):
            rest = unserved & ~mask
            if rest != unserved and self._finish(rest, count - len(chosen) - 1):
                chosen.append(place)
                unserved = rest
        return chosen

    def _finish(self, unserved: int, count: int) -> bool:
        if not unserved:
            return True
        if count <= 0:
            return False
        for sheet, masks in self._by_sheet:
            if sheet & unserved:
                return any(self._finish(unserved & ~mask, count - 1) for mask in masks)
        return False


def _undominated(masks: Sequence[int]) -> list[int]:
    """The masks that no other one contains, each once."""
    kept: list[int] = []
    for mask in sorted(set(masks), key=lambda m: (-m.bit_count(), m)):
        if all(mask & ~other for other in kept):
            kept.append(mask)
    return kept


def all_covers(serves: Flags, *, count: int, most: int) -> Index | None:
    """Every set of `count` entries, the fewest there can be, that serves everyone: (K, count), in order.

    None where there are more than `most`.
    """
    found = _completing(~serves, count, start=0, most=most)
    return None if found is None or len(found) > most else found


def _completing(lacks: Flags, count: int, *, start: int, most: int) -> Index | None:
    """Sets of `count` rows from `start` on, of which no sheet lacks all."""
    if count == 1:
        return start + np.flatnonzero(~lacks[start:].any(axis=1))[:, None]
    if count == 2:
        rows = lacks[start:].astype(np.float32)
        pairs = np.argwhere(np.triu(rows @ rows.T == 0.0, k=1))
        return start + pairs
    sets, total = [], 0
    for row in range(start, len(lacks)):
        rest = _completing(lacks[:, lacks[row]], count - 1, start=row + 1, most=most)
        if rest is None:
            return None
        sets.append(np.hstack([np.full((len(rest), 1), row), rest]))
        total += len(rest)
        if total > most:
            return None
    return np.concatenate(sets) if sets else np.zeros((0, count), dtype=np.intp)
