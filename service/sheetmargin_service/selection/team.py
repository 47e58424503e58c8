"""One set of classes: the fewest positions and profiles that serve all sheets that it can serve, and how well.

Where the fewest positions are few, as they nearly always are, every set of them is listed, and what is left for each is
a small cover by profiles. Where they are many, both are left to a mixed-integer programme.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sheetmargin_service.selection.candidates import Array, Candidates
from sheetmargin_service.selection.programme import Counts, Part, Programme, Solution
from sheetmargin_service.selection.setcover import Flags, Index, SetCover, all_covers, needed
from sheetmargin_service.selection.time_limit import check_time

FEW_POSITIONS = 3
MOST_STANDS = 20_000
"""Sets of positions are listed up to this size and this number of them."""


@dataclass(frozen=True, kw_only=True)
class Block:
    """One class by position and profile: row of the candidates (P, Q), -1 where there is none, margin (P, Q, S), and
    whom it can serve."""

    name: str
    rows: Index
    margin: Array
    served: frozenset[int]


def block_of(name: str, rows: Index, candidates: Candidates) -> Block:
    """The rows of one class."""
    p = np.unique([candidates.positions[row] for row in rows], axis=0, return_inverse=True)[1].ravel()
    q = np.unique([candidates.profiles[row] for row in rows], return_inverse=True)[1]
    table = np.full((p.max() + 1, q.max() + 1), -1, dtype=np.intp)
    table[p, q] = rows
    margin = np.where((table >= 0)[..., None], candidates.margin[table], -np.inf)
    served = frozenset(np.flatnonzero(np.isfinite(margin.max(axis=(0, 1)))).tolist())
    return Block(name=name, rows=table, margin=margin, served=served)


class Team:
    """One set of classes. A stand is a set of positions, counted through all classes."""

    def __init__(self, blocks: Sequence[Block]) -> None:
        self._blocks = blocks
        self._sheets = sorted(frozenset[int]().union(*(block.served for block in blocks)))
        self._margins = [block.margin[:, :, self._sheets] for block in blocks]
        self._starts = np.cumsum([0, *(len(margin) for margin in self._margins)])
        self._at_position: Array = np.concatenate([margin.max(axis=1) for margin in self._margins])
        self.names = [block.name for block in blocks]

    @cached_property
    def positions(self) -> int:
        """The fewest positions."""
        serves = np.isfinite(self._at_position)
        few = SetCover(serves).fewest(most=FEW_POSITIONS)
        if few is not None:
            return few
        return Programme(self._parts(-np.inf, merged=True)).best(Counts(positions=1, profiles=0)).counts.positions

    @cached_property
    def profiles(self) -> int:
        """The fewest profiles at the fewest positions."""
        if self._stands is None:
            limits = Counts(positions=self.positions, profiles=len(self._sheets))
            return Programme(self._parts(-np.inf)).best(Counts(positions=0, profiles=1), limits).counts.profiles
        useful = np.concatenate(
            [
                start + needed(_flat(np.isfinite(margin)))
                for start, margin in zip(self._starts, self._margins, strict=False)
            ]
        )
        fewest = len(self._sheets)
        for stand in self._stands[np.isin(self._stands, useful).all(axis=1)]:
            fewest = self._by_profile(stand, -np.inf).fewest(most=fewest - 1) or fewest
            if fewest == len(self._blocks):
                break
        return fewest

    @cached_property
    def at_best(self) -> float:
        """No worst margin can be greater."""
        return float(self._at_position.max(axis=0).min() if self._stands is None else self._stand_bounds.max())

    @cached_property
    def worst(self) -> float:
        """The greatest worst margin at the fewest positions and profiles."""
        if self._stands is None:
            return self._worst_by_programme()
        worst = -np.inf
        for place in np.argsort(-self._stand_bounds, kind="stable"):
            if self._stand_bounds[place] <= worst:
                break
            worst = self._better(self._stands[place], worst, self._stand_bounds[place])
        return worst

    @cached_property
    def assignment(self) -> tuple[int | None, ...]:
        """Row of the candidates for each sheet of the list: of the best choices the first in order, each sheet on its
        best way."""
        stand = self._first_stand()
        profiles = np.array(self._by_profile(stand, self.worst).first(self.profiles))
        rows, margins = [], []
        for block, p, q in zip(self._blocks, self._split(stand, 0), self._split(profiles, 1), strict=True):
            rows.append(block.rows[np.ix_(p, q)].ravel())
            margins.append(block.margin[np.ix_(p, q)].reshape(len(p) * len(q), -1))
        row, margin = np.concatenate(rows), np.concatenate(margins)
        order = np.argsort(row, kind="stable")
        best = row[order][margin[order].argmax(axis=0)]
        served = np.isfinite(margin.max(axis=0))
        return tuple(int(r) if ok else None for r, ok in zip(best, served, strict=True))

    @cached_property
    def _stands(self) -> Index | None:
        """Every set of the fewest positions that serves all; None where there are too many."""
        if self.positions > FEW_POSITIONS:
            return None
        return all_covers(np.isfinite(self._at_position), count=self.positions, most=MOST_STANDS)

    @cached_property
    def _stand_bounds(self) -> Array:
        """Greatest worst margin of each stand with any number of profiles."""
        assert self._stands is not None
        return np.asarray(self._at_position[self._stands].max(axis=1).min(axis=1))

    def _split(self, places: Index, axis: int) -> Iterator[Index]:
        """Places counted through all classes, class by class; axis 0 positions, 1 profiles."""
        start = 0
        for margin in self._margins:
            end = start + margin.shape[axis]
            yield places[(places >= start) & (places < end)] - start
            start = end

    def _by_profile(self, stand: Index, at_least: float) -> SetCover:
        """Profiles to cover the sheets from one stand."""
        check_time()
        each = [
            margin[p].max(axis=0, initial=-np.inf)
            for margin, p in zip(self._margins, self._split(stand, 0), strict=True)
        ]
        best = np.concatenate(each)
        return SetCover(np.logical_and(best >= at_least, np.isfinite(best)))

    def _better(self, stand: Index, worst: float, bound: float) -> float:
        """The greatest worst margin of a stand with the fewest profiles, if above `worst`; else `worst`."""
        values = np.unique(
            np.concatenate([m[p].ravel() for m, p in zip(self._margins, self._split(stand, 0), strict=True)])
        )
        values = values[(values > worst) & (values <= bound)]
        low, high = 0, len(values)  # values[:low] can be held, values[high:] cannot
        middle = 0  # most stands fall at once
        while low < high:
            if self._by_profile(stand, float(values[middle])).within(self.profiles):
                low = middle + 1
            else:
                high = middle
            middle = (low + high) // 2
        return float(values[low - 1]) if low else worst

    def _first_stand(self) -> Index:
        if self._stands is None:
            solution = Programme(self._parts(self.worst, drop=False)).first(self._limits)
            each = [start + p for start, (p, _) in zip(self._starts, solution.choice, strict=False)]
            return np.concatenate(each)
        held = self._stands[self._stand_bounds >= self.worst]
        return next(stand for stand in held if self._by_profile(stand, self.worst).within(self.profiles))

    @property
    def _limits(self) -> Counts:
        return Counts(positions=self.positions, profiles=self.profiles)

    def _worst_by_programme(self) -> float:
        """By bisection over the margins that occur."""
        values = np.unique(np.concatenate([margin[np.isfinite(margin)] for margin in self._margins]))
        values = values[values <= self.at_best]
        low = -np.inf
        while len(values):
            middle = len(values) // 2
            solution = Programme(self._parts(float(values[middle]))).within(self._limits)
            if solution is None:
                values = values[:middle]
            else:
                low = self._worst_of(solution)
                values = values[values > low]
        return low

    def _worst_of(self, solution: Solution) -> float:
        best = [
            margin[np.ix_(p, q)].max(axis=(0, 1), initial=-np.inf)
            for margin, (p, q) in zip(self._margins, solution.choice, strict=True)
        ]
        return float(np.max(best, axis=0).min())

    def _parts(self, at_least: float, *, merged: bool = False, drop: bool = True) -> list[Part]:
        """What serves with such a margin, for a programme.

        `merged`: all profiles of a class count as one, which serves whom any of them serves. With `drop`, what another
        one of the class replaces for every sheet, place by place of the other axis, is left out: it may be the first
        in order, but changes no count.
        """
        parts = []
        for each in self._margins:
            margin = each.max(axis=1, keepdims=True) if merged else each
            serves = np.logical_and(margin >= at_least, np.isfinite(margin))
            p = needed(_flat(serves), drop=drop)
            q = needed(_flat(serves.swapaxes(0, 1)), drop=drop)
            parts.append(Part(positions=p, profiles=q, serves=serves[np.ix_(p, q)]))
        return parts


def _flat(table: Flags) -> Flags:
    """Along the first axis, everything else in a row."""
    return table.reshape(len(table), -1)
