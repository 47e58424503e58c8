"""A job list served by the fewest classes: an exact cover by mixed-integer programming.

In this order: the most sheets served, the fewest classes to buy, the fewest gap and tilt positions, the fewest
profiles, the greatest worst margin, the first in order (of classes, then profiles, then positions). A chosen class may stand
at any of its chosen positions with any of its chosen profiles; each sheet takes the way that leaves it the most margin.

The programme speaks of classes, positions, profiles and ways (one position with one profile). What cannot change the
optimum is dropped first: a position that serves, profile by profile, no sheet that another of its class does not serve
too; a profile likewise, position by position.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from sheetmargin_service.selection.candidates import Array, Candidates

Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
Barred = Sequence[frozenset[str]]


@dataclass(frozen=True, kw_only=True)
class Cover:
    """Which row of the candidates serves each sheet; None where none does. `worst` is the least margin of those served."""

    assignment: tuple[int | None, ...]
    classes: tuple[str, ...]
    worst: float

    @property
    def unserved(self) -> tuple[int, ...]:
        return tuple(sheet for sheet, row in enumerate(self.assignment) if row is None)

    @property
    def rows(self) -> tuple[int, ...]:
        """The rows in use, in their order."""
        return tuple(sorted({row for row in self.assignment if row is not None}))


@dataclass(frozen=True, kw_only=True)
class _Block:
    """One class: row of the candidates (P, Q), -1 where there is none, and margin (P, Q, S) by position and profile."""

    name: str
    rows: Index
    margin: Array


@dataclass(frozen=True, kw_only=True)
class _Part:
    """What a programme sees of a class: the positions and profiles that take part, and whom each way serves, (p, q, S)."""

    positions: Index
    profiles: Index
    serves: Flags


def covers(candidates: Candidates, *, limit: int) -> Iterator[Cover]:
    """The best cover, then the best that has not all the classes of an earlier one, and so on up to `limit`."""
    barred: list[frozenset[str]] = []
    while len(barred) < limit:
        best = best_cover(candidates, barred=barred)
        if best is None:
            return
        yield best
        barred.append(frozenset(best.classes))


def best_cover(candidates: Candidates, *, barred: Barred = ()) -> Cover | None:
    """The best cover that has not all the classes of any `barred` set; None where no sheet can be served."""
    blocks = [block for block in _blocks(candidates) if frozenset([block.name]) not in barred]
    if not any(np.isfinite(block.margin).any() for block in blocks):
        return None
    chosen = _single(blocks) or _several(blocks, barred)
    return _assign(blocks, chosen)


Choice = dict[int, tuple[Index, Index]]
"""Positions and profiles of each chosen block."""


def _blocks(candidates: Candidates) -> list[_Block]:
    names = sorted(set(candidates.classes))
    of_class = np.array(candidates.classes)
    blocks = []
    for name in names:
        rows = np.flatnonzero(of_class == name)
        positions, profiles = ([source[row] for row in rows] for source in (candidates.positions, candidates.profiles))
        p, q = _ranks(positions), _ranks(profiles)
        shape = (p.max() + 1, q.max() + 1)
        table = np.full(shape, -1, dtype=np.intp)
        table[p, q] = rows
        margin = np.where((table >= 0)[..., None], candidates.margin[table], -np.inf)
        blocks.append(_Block(name=name, rows=table, margin=margin))
    return blocks


def _ranks(keys: Sequence[str] | Sequence[tuple[float, float]]) -> Index:
    rank = {key: place for place, key in enumerate(sorted(set(keys)))}
    return np.array([rank[key] for key in keys], dtype=np.intp)


def _single(blocks: Sequence[_Block]) -> Choice | None:
    """One way that serves every sheet that can be served at all, if there is one: no programme is needed then."""
    servable = np.any([np.isfinite(block.margin).any(axis=(0, 1)) for block in blocks], axis=0)
    best: Choice | None = None
    greatest = -np.inf
    for b, block in enumerate(blocks):
        # Profiles first, so that among equals the first profile wins before the first position.
        worst = block.margin[:, :, servable].min(axis=2).T
        q, p = np.unravel_index(int(np.argmax(worst)), worst.shape)
        if worst[q, p] > greatest:
            greatest = worst[q, p]
            best = {b: (np.array([p]), np.array([q]))}
    return best


def _several(blocks: Sequence[_Block], barred: Barred) -> Choice:
    sheets = blocks[0].margin.shape[2]
    whole = [
        _Part(positions=np.zeros(1, np.intp), profiles=np.zeros(1, np.intp), serves=s.any(axis=(0, 1), keepdims=True))
        for s in (np.isfinite(block.margin) for block in blocks)
    ]
    programme = _Programme(whole, blocks, barred)
    solution = programme.solve(programme.cost(left_out=len(blocks) + 1.0, classes=1.0))
    assert solution is not None
    limits = (*programme.counts(solution)[:2], sheets, sheets)
    programme = _Programme(_parts(blocks, at_least=-np.inf), blocks, barred)
    solution = programme.solve(programme.cost(positions=sheets + 1.0, profiles=1.0), limits=limits)
    assert solution is not None
    limits = programme.counts(solution)
    worst = _greatest_worst(blocks, barred, limits=limits, start=_worst(blocks, programme.choice(solution), limits[0]))
    return _first_in_order(blocks, barred, limits=limits, worst=worst)
