"""Small set covers over bit masks: one bit a sheet, one mask for what serves it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
Masks = NDArray[np.uint64]
"""Whom something serves, one bit a sheet."""


def masks_of(serves: Flags) -> Masks:
    """Masks (...) of `serves` (..., S), S at most 64."""
    sheets = serves.shape[-1]
    wide = np.zeros((*serves.shape[:-1], 64), dtype=np.bool_)
    wide[..., :sheets] = serves
    return np.packbits(wide, axis=-1, bitorder="little").view("<u8")[..., 0].astype(np.uint64)


def replaced(within: Flags) -> Flags:
    """[a, b]: b replaces a, from [a, b]: b serves all that a does, (N, N). Of equals the first replaces the others."""
    order = np.arange(len(within))
    return np.asarray(within & (~within.T | (order[None, :] < order[:, None])))


def replaced_rows(masks: Masks) -> Flags:
    """[a, b]: row b replaces row a of masks (N, M): it serves all that a serves, place by place."""
    others = ~masks
    lacks = [(row & others).any(axis=1) for row in masks]
    return replaced(~np.array(lacks, dtype=np.bool_).reshape(len(masks), len(masks)))


class SetCover:
    """Masks (N,) that together are to serve everyone."""

    def __init__(self, masks: Masks, everyone: int) -> None:
        self._masks = masks & np.uint64(everyone)
        self._everyone = everyone

    @cached_property
    def _company(self) -> list[tuple[int, int]]:
        """Of each sheet, by its bit, whom it shares a mask with; those with few masks first."""
        masks = np.unique(self._masks)
        bits = np.unpackbits(masks.view(np.uint8).reshape(-1, 8), axis=1, bitorder="little").view(np.bool_)
        company: list[int] = np.bitwise_or.reduce(np.where(bits, masks[:, None], 0), axis=0).tolist()
        order: list[int] = np.argsort(bits.sum(axis=0), kind="stable").tolist()
        return [(1 << bit, company[bit]) for bit in order if self._everyone >> bit & 1]

    @cached_property
    def _by_sheet(self) -> list[tuple[int, list[int]]]:
        """Of each sheet, by its bit, the masks that serve it and that no other one contains; those with few first."""
        masks = np.unique(self._masks)
        kept: list[int] = masks[~replaced((masks[:, None] & ~masks) == 0).any(axis=1)].tolist()
        kept.sort(key=lambda mask: (-mask.bit_count(), mask))
        sheets = (1 << bit for bit in range(self._everyone.bit_length()) if self._everyone >> bit & 1)
        return sorted(((s, [mask for mask in kept if mask & s]) for s in sheets), key=lambda pair: len(pair[1]))

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
        for position, mask in enumerate(self._masks.tolist()):
            rest = unserved & ~mask
            if rest != unserved and self._finish(rest, count - len(chosen) - 1):
                chosen.append(position)
                unserved = rest
        return chosen

    def _finish(self, unserved: int, count: int) -> bool:
        if not unserved:
            return True
        if self._more_than(count, unserved):
            return False
        for sheet, masks in self._by_sheet:
            if sheet & unserved:
                return any(self._finish(unserved & ~mask, count - 1) for mask in masks)
        return False

    def _more_than(self, count: int, unserved: int) -> bool:
        """Whether more than `count` of the sheets share no mask with each other: each needs one of its own."""
        apart = 0
        for sheet, company in self._company:
            if sheet & unserved:
                apart += 1
                if apart > count or not company:
                    return True
                unserved &= ~company
        return False
