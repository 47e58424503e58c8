"""One set of classes: the fewest positions and profiles that serve all sheets that it can serve, and how well.

Where the fewest positions are few, as they nearly always are, a search finds them (see `level`). Where they are many,
they are left to a mixed-integer programme.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sheetmargin_service.selection.candidates import Array, Candidates
from sheetmargin_service.selection.level import Level
from sheetmargin_service.selection.programme import Counts, Part, Programme, Solution
from sheetmargin_service.selection.setcover import Flags, Index, needed

FEW_POSITIONS = 6
"""Positions are searched for up to this number."""


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
        self._any = Level(self._margins, -np.inf)
        self.names = [block.name for block in blocks]

    @cached_property
    def _few(self) -> int | None:
        return self._any.fewest_positions(most=FEW_POSITIONS)

    @cached_property
    def positions(self) -> int:
        """The fewest positions."""
        if self._few is not None:
            return self._few
        return Programme(self._parts(-np.inf, merged=True)).best(Counts(positions=1, profiles=0)).counts.positions

    @cached_property
    def profiles(self) -> int:
        """The fewest profiles at the fewest positions."""
        if self._few is not None:
            return self._any.fewest_profiles(self.positions)
        limits = Counts(positions=self.positions, profiles=len(self._sheets))
        return Programme(self._parts(-np.inf)).best(Counts(positions=0, profiles=1), limits).counts.profiles

    @cached_property
    def at_best(self) -> float:
        """No worst margin can be greater: the greatest with any number of profiles, or of positions as well."""
        at_position = [margin.max(axis=1, keepdims=True) for margin in self._margins]
        at_most = float(np.concatenate(at_position).max(axis=0).min())
        if self._few is None:
            return at_most
        return _greatest(at_position, at_most, lambda level: level.fewest_positions(most=self.positions) is not None)

    @cached_property
    def worst(self) -> float:
        """The greatest worst margin at the fewest positions and profiles."""
        if self._few is None:
            return self._worst_by_programme()
        return _greatest(self._margins, self.at_best, lambda level: level.serves(self.positions, self.profiles))

    @cached_property
    def assignment(self) -> tuple[int | None, ...]:
        """Row of the candidates for each sheet of the list: of the best choices the first in order, each sheet on its
        best way."""
        level = Level(self._margins, self.worst)
        stand = level.first_stand(self.positions, self.profiles) if self._few is not None else self._first_stand()
        profiles = level.first_profiles(stand, self.profiles)
        rows, margins = [], []
        for block, p, q in zip(self._blocks, self._split(stand, 0), self._split(profiles, 1), strict=True):
            rows.append(block.rows[np.ix_(p, q)].ravel())
            margins.append(block.margin[np.ix_(p, q)].reshape(len(p) * len(q), -1))
        row, margin = np.concatenate(rows), np.concatenate(margins)
        order = np.argsort(row, kind="stable")
        best = row[order][margin[order].argmax(axis=0)]
        served = np.isfinite(margin.max(axis=0))
        return tuple(int(r) if ok else None for r, ok in zip(best, served, strict=True))

    def _split(self, places: Index, axis: int) -> Iterator[Index]:
        """Places counted through all classes, class by class; axis 0 positions, 1 profiles."""
        start = 0
        for margin in self._margins:
            end = start + margin.shape[axis]
            yield places[(places >= start) & (places < end)] - start
            start = end

    def _first_stand(self) -> Index:
        solution = Programme(self._parts(self.worst, drop=False)).first(self._limits)
        return np.concatenate([start + p for start, (p, _) in zip(self._starts, solution.choice, strict=False)])

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


def _greatest(margins: Sequence[Array], at_most: float, holds: Callable[[Level], bool]) -> float:
    """The greatest of the margins, up to one, at which `holds`; it does at the least."""
    values = np.unique(np.concatenate([margin[np.isfinite(margin)] for margin in margins]))
    values = values[values <= at_most]
    low, high = 1, len(values)  # values[:low] can be held, values[high:] cannot
    while low < high:
        middle = (low + high) // 2
        if holds(Level(margins, float(values[middle]))):
            low = middle + 1
        else:
            high = middle
    return float(values[low - 1])


def _flat(table: Flags) -> Flags:
    """Along the first axis, everything else in a row."""
    return table.reshape(len(table), -1)
