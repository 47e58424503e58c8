"""One set of classes: the fewest positions and profiles that serve all sheets that it can serve, and how well.

A search finds them (see `level`): the fewest positions are few. Of fifty sheets of a converter's stock no class of the
reference needs more than four.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sheetmargin_service.cached import cached_property
from sheetmargin_service.selection.list_cover.candidates import Array, Candidates
from sheetmargin_service.selection.list_cover.cover_at_margin import CoverAtMargin
from sheetmargin_service.selection.list_cover.set_cover import Index


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


class ClassSet:
    """One set of classes. A stand is a set of positions, counted through all classes."""

    def __init__(self, blocks: Sequence[Block]) -> None:
        self._blocks = blocks
        self._sheets = sorted(frozenset[int]().union(*(block.served for block in blocks)))
        self._margins = [block.margin[:, :, self._sheets] for block in blocks]
        self._any = CoverAtMargin(self._margins, -np.inf)
        self.names = [block.name for block in blocks]

    @cached_property
    def positions(self) -> int:
        """The fewest positions."""
        positions = self._any.fewest_positions(most=len(self._sheets))
        assert positions is not None  # at the most one for each sheet
        return positions

    @cached_property
    def profiles(self) -> int:
        """The fewest profiles at the fewest positions."""
        return self._any.fewest_profiles(self.positions)

    @cached_property
    def at_best(self) -> float:
        """No worst margin can be greater: the greatest with any number of profiles."""
        at_position = [margin.max(axis=1, keepdims=True) for margin in self._margins]
        at_most = float(np.concatenate(at_position).max(axis=0).min())
        return _greatest(at_position, at_most, lambda level: level.fewest_positions(most=self.positions) is not None)

    @cached_property
    def worst(self) -> float:
        """The greatest worst margin at the fewest positions and profiles."""
        return _greatest(self._margins, self.at_best, lambda level: level.serves(self.positions, self.profiles))

    @cached_property
    def assignment(self) -> tuple[int | None, ...]:
        """Row of the candidates for each sheet of the list: of the best choices the first in order, each sheet on its
        best way."""
        level = CoverAtMargin(self._margins, self.worst)
        stand = level.first_stand(self.positions, self.profiles)
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

    def _split(self, positions: Index, axis: int) -> Iterator[Index]:
        """Places counted through all classes, class by class; axis 0 positions, 1 profiles."""
        start = 0
        for margin in self._margins:
            end = start + margin.shape[axis]
            yield positions[(positions >= start) & (positions < end)] - start
            start = end


def _greatest(margins: Sequence[Array], at_most: float, holds: Callable[[CoverAtMargin], bool]) -> float:
    """The greatest of the margins, up to one, at which `holds`; it does at the least."""
    values = np.unique(np.concatenate([margin[np.isfinite(margin)] for margin in margins]))
    values = values[values <= at_most]
    low, high = 1, len(values)  # values[:low] can be held, values[high:] cannot
    while low < high:
        middle = (low + high) // 2
        if holds(CoverAtMargin(margins, float(values[middle]))):
            low = middle + 1
        else:
            high = middle
    return float(values[low - 1])
