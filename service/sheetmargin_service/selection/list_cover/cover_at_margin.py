"""What a set of classes can do if each sheet must have some margin: which positions, with how many profiles.

A stand is a set of positions, counted through all classes, and so are profiles. Stands are searched by branching on a
sheet that no position serves yet; a branch ends where even all positions that are left would need too many profiles.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sheetmargin_service.cached import cached_property
from sheetmargin_service.selection.list_cover.set_cover import (
    Array,
    Flags,
    Index,
    Masks,
    SetCover,
    masks_of,
    replaced_rows,
)
from sheetmargin_service.selection.time_limit import check_time


class CoverAtMargin:
    """Classes with margins (P, Q, S) each, of which `at_least` counts."""

    def __init__(self, margins: Sequence[Array], at_least: float) -> None:
        self._each = [masks_of((margin >= at_least) & np.isfinite(margin)) for margin in margins]
        self._everyone = (1 << margins[0].shape[2]) - 1

    @cached_property
    def _options(self) -> Masks:
        """Whom each position serves with each profile, (P, Q) through all classes; nobody with another class's."""
        rows, columns = zip(*(each.shape for each in self._each), strict=True)
        options = np.zeros((sum(rows), sum(columns)), dtype=np.uint64)
        row = column = 0
        for each in self._each:
            options[row : row + each.shape[0], column : column + each.shape[1]] = each
            row, column = row + each.shape[0], column + each.shape[1]
        return options

    @cached_property
    def _useful(self) -> Masks:
        """The ways without profiles that another one of the class replaces at every position."""
        start, kept = 0, []
        for each in self._each:
            kept.append(start + np.flatnonzero(each.any(axis=0) & ~replaced_rows(each.T).any(axis=1)))
            start += each.shape[1]
        return self._options[:, np.concatenate(kept)]

    @cached_property
    def _at_position(self) -> Masks:
        """Whom each position serves with any profile."""
        return np.asarray(np.bitwise_or.reduce(self._options, axis=1))

    @cached_property
    def _replaced(self) -> Flags:
        """[a, b]: position b replaces position a, whatever the profiles."""
        count = len(self._options)
        table = np.zeros((count, count), dtype=np.bool_)
        start = 0
        for each in self._each:
            part = slice(start, start + len(each))
            table[part, part] = replaced_rows(each)
            start += len(each)
        return table

    def fewest_positions(self, *, most: int) -> int | None:
        """The least number of positions that serve everyone; None where that is above `most`."""
        return SetCover(self._at_position, self._everyone).fewest(most=most)

    def fewest_profiles(self, positions: int) -> int:
        """The fewest profiles with so many positions, the fewest there can be."""
        profiles = self._profiles(range(len(self._options))).fewest(most=self._everyone.bit_count())
        assert profiles is not None
        while not self.serves(positions, profiles):
            profiles += 1
        return profiles

    def serves(self, positions: int, profiles: int) -> bool:
        """Whether so many positions, the fewest there can be, and profiles serve everyone."""
        return self._stand([], 0, positions, profiles)

    def first_stand(self, positions: int, profiles: int) -> Index:
        """Of the stands that serve everyone with so few profiles, the first in order."""
        stand: list[int] = []
        for position in range(len(self._options)):
            if len(stand) < positions and self._stand([*stand, position], position + 1, positions, profiles):
                stand.append(position)
        return np.array(stand, dtype=np.intp)

    def first_profiles(self, stand: Index, profiles: int) -> Index:
        """The first profiles in order that serve everyone from a stand."""
        every = np.bitwise_or.reduce(self._options[stand], axis=0)
        return np.array(SetCover(every, self._everyone).first(profiles), dtype=np.intp)

    def _stand(self, chosen: list[int], start: int, positions: int, profiles: int) -> bool:
        """Whether the chosen positions and others from `start` on do."""
        free = np.arange(start, len(self._options))
        free = free[~self._replaced[np.ix_(free, free)].any(axis=1)]
        unserved = self._everyone & ~int(np.bitwise_or.reduce(self._at_position[chosen]))
        return self._complete(chosen, unserved, free, positions - len(chosen), profiles)

    def _complete(self, chosen: list[int], unserved: int, free: Index, more: int, profiles: int) -> bool:
        check_time()
        if more == 0:
            return not unserved and self._profiles(chosen).within(profiles)
        if more == 1:
            free = free[(np.uint64(unserved) & ~self._at_position[free]) == 0]
        elif not SetCover(self._at_position[free], unserved).within(more):
            return False
        if not self._profiles([*chosen, *free]).within(profiles):
            return False
        if chosen:  # what they serve already makes more of the others alike
            beyond = self._useful[free] & ~np.bitwise_or.reduce(self._useful[chosen], axis=0)
            free = free[~replaced_rows(beyond).any(axis=1)]
        untried = np.ones(len(free), dtype=np.bool_)
        for choice in self._choices(unserved, self._at_position[free]):
            untried[choice] = False
            position = int(free[choice])
            rest = unserved & ~int(self._at_position[position])
            if self._complete([*chosen, position], rest, free[untried], more - 1, profiles):
                return True
        return False

    @staticmethod
    def _choices(unserved: int, at_position: Masks) -> list[int]:
        """Which of some positions serve the sheet that the fewest of them serve."""
        sheets = np.array([1 << bit for bit in range(64) if unserved >> bit & 1], dtype=np.uint64)
        serves = (at_position[:, None] & sheets) != 0
        found: list[int] = np.flatnonzero(serves[:, serves.sum(axis=0).argmin()]).tolist()
        return found

    def _profiles(self, stand: Sequence[int]) -> SetCover:
        """Profiles to cover the sheets from a stand."""
        return SetCover(np.bitwise_or.reduce(self._useful[stand], axis=0), self._everyone)
