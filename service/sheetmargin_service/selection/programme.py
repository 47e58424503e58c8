"""The mixed-integer programme behind a cover: which classes, positions and profiles, so that every sheet has a way.

Variables: one for each sheet left out, each class, each position, each profile (0 or 1), and one for each way, a
position with a profile. A way is at most its position and its profile, these at most their class, and every sheet has a
way that serves it or is left out. With whole positions and profiles a way may be a fraction: above 0, both are chosen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, vstack

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
Choice = dict[int, tuple[Index, Index]]
"""Positions and profiles of each chosen class, by their places in its table."""

_INFEASIBLE = 2


class Counts(NamedTuple):
    """How many of each, or the weight of each in what is made least."""

    left_out: float = 0.0
    classes: float = 0.0
    positions: float = 0.0
    profiles: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Part:
    """What a programme sees of one class: positions (p,) and profiles (q,) that take part, and whom each way serves
    (p, q, S)."""

    positions: Index
    profiles: Index
    serves: Flags


@dataclass(frozen=True, kw_only=True)
class Solution:
    """One choice. `taken` are the chosen variables, 0 or 1 each."""

    taken: Array
    counts: Counts
    choice: Choice


class Programme:
    """One programme. Not all classes of any set in `barred` (places of classes) may be chosen together."""

    def __init__(self, parts: Sequence[Part], barred: Sequence[frozenset[int]]) -> None:
        self._parts = parts
        sheets, classes = parts[0].serves.shape[2], len(parts)
        class_of_position = np.repeat(np.arange(classes), [len(part.positions) for part in parts])
        class_of_profile = np.repeat(np.arange(classes), [len(part.profiles) for part in parts])
        position_of_way, profile_of_way, serves = _ways(parts)
        sizes = (sheets, classes, len(class_of_position), len(class_of_profile), len(serves))
        left_out, class_, position, profile, way = np.split(np.arange(sum(sizes)), np.cumsum(sizes)[:-1])
        self._of: dict[str, Index] = {
            "left_out": left_out,
            "classes": class_,
            "positions": position,
            "profiles": profile,
        }
        self._variables = sum(sizes)
        self._whole = np.ones(self._variables)
        self._whole[way] = 0.0
        served_way, sheet = np.nonzero(serves)
        at_most = [
            self._pairs(way, position[position_of_way]),
            self._pairs(way, profile[profile_of_way]),
            self._pairs(position, class_[class_of_position]),
            self._pairs(profile, class_[class_of_profile]),
        ]
        # A served sheet has a way, and so a position, a profile and a class. The last three follow from the first for whole
        # numbers; said outright they keep the relaxation from sharing one position among its ways.
        served_by = (
            way[served_way],
            position[position_of_way[served_way]],
            profile[profile_of_way[served_way]],
            class_[class_of_position[position_of_way[served_way]]],
        )
        has = [self._covering(sheet, column, left_out) for column in served_by]
        together = [self._one_row(class_[sorted(group)]) for group in barred]
        self._matrix = vstack([*at_most, *(-rows for rows in has), *together], format="csr")
        linked = sum(m.shape[0] for m in at_most)
        self._upper = np.concatenate([np.zeros(linked), -np.ones(4 * sheets), [len(group) - 1.0 for group in barred]])

    def best(self, weights: Counts, limits: Counts | None = None) -> Solution:
        """The choice of least weighted counts; there always is one, as every sheet may be left out."""
        cost = np.zeros(self._variables)
        for kind, weight in weights._asdict().items():
            cost[self._of[kind]] = weight
        return _existing(self._solve(cost, self._limits(limits) if limits else []))

    def within(self, limits: Counts) -> Solution | None:
        """Any choice within the counts."""
        return self._solve(np.zeros(self._variables), self._limits(limits))

    def possible(self, kind: str, limits: Counts) -> list[int]:
        """Places of all of `kind` that some choice within the counts, which there must be, takes."""
        these = self._of[kind]
        seen = np.zeros(len(these), dtype=np.bool_)
        while True:
            cost = np.zeros(self._variables)
            cost[these[~seen]] = -1.0
            taken = _existing(self._solve(cost, self._limits(limits))).taken[these] > 0.5
            if not np.any(taken & ~seen):
                return [int(place) for place in np.flatnonzero(seen)]
            seen |= taken

    def first(self, kind: str, limits: Counts) -> Solution:
        """Of the choices within the counts, which there must be, the one whose list of `kind` comes first in order."""
        these = self._of[kind]
        cost = np.zeros(self._variables)
        cost[these] = np.arange(len(these))
        rows = self._limits(limits)
        solution = _existing(self._solve(cost, rows))
        last = -1
        while True:
            taken = these[(solution.taken[these] > 0.5) & (these > last)]
            if len(taken) == 0:
                return solution
            earlier = these[(these > last) & (these < taken[0])]
            better = self._solve(cost, [*rows, (-self._one_row(earlier), -1.0)]) if len(earlier) else None
            if better is None:
                last = int(taken[0])
                rows.append((-self._one_row(taken[:1]), -1.0))
            else:
                solution = better

    def _limits(self, limits: Counts) -> list[tuple[csr_array, float]]:
        return [(self._one_row(self._of[kind]), limit) for kind, limit in limits._asdict().items()]

    def _rows(self, row: Index, column: Index, *, rows: int) -> csr_array:
        return csr_array((np.ones(len(row)), (row, column)), shape=(rows, self._variables))

    def _covering(self, sheet: Index, column: Index, left_out: Index) -> csr_array:
        """For each sheet: the columns that serve it, each once, and the sheet's own if it is left out."""
        pairs = np.unique(np.stack([sheet, column]), axis=1)
        own = np.arange(len(left_out))
        return self._rows(np.concatenate([pairs[0], own]), np.concatenate([pairs[1], left_out]), rows=len(own))

    def _one_row(self, columns: Index) -> csr_array:
        return self._rows(np.zeros(len(columns), dtype=np.intp), columns, rows=1)

    def _pairs(self, lesser: Index, greater: Index) -> csr_array:
        """lesser - greater, row by row."""
        row = np.arange(len(lesser))
        ones = np.ones(len(row))
        return csr_array(
            (np.concatenate([ones, -ones]), (np.concatenate([row, row]), np.concatenate([lesser, greater]))),
            shape=(len(row), self._variables),
        )

    def _solve(self, cost: Array, rows: Sequence[tuple[csr_array, float]]) -> Solution | None:
        matrix = vstack([self._matrix, *(row for row, _ in rows)], format="csr")
        upper = np.concatenate([self._upper, [limit for _, limit in rows]])
        # Costs are whole numbers, so that a gap below 1 is none; relative to large ones it must be 0.
        result = milp(
            cost,
            integrality=self._whole,
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(matrix, -np.inf, upper),
            options={"mip_rel_gap": 0.0},
        )
        if result.status == _INFEASIBLE:
            return None
        if not result.success:
            raise RuntimeError(f"the cover was not solved: {result.message}")
        return self._solution(np.round(result.x))

    def _solution(self, taken: Array) -> Solution:
        counts = Counts(**{kind: float(taken[these].sum()) for kind, these in self._of.items()})
        choice = {}
        position, profile = 0, 0
        for b, part in enumerate(self._parts):
            p = taken[self._of["positions"]][position : position + len(part.positions)] > 0.5
            q = taken[self._of["profiles"]][profile : profile + len(part.profiles)] > 0.5
            position, profile = position + len(part.positions), profile + len(part.profiles)
            if p.any() and q.any():
                choice[b] = (part.positions[p], part.profiles[q])
        return Solution(taken=taken, counts=counts, choice=choice)


def _existing(solution: Solution | None) -> Solution:
    if solution is None:
        raise RuntimeError("no choice lies within the counts of an earlier one")
    return solution


def _ways(parts: Sequence[Part]) -> tuple[Index, Index, Flags]:
    """Position and profile of each way that serves somebody, counted through all parts, and whom it serves (W, S)."""
    positions, profiles, serves = [], [], []
    first_position = first_profile = 0
    for part in parts:
        p, q = np.nonzero(part.serves.any(axis=2))
        positions.append(p + first_position)
        profiles.append(q + first_profile)
        serves.append(part.serves[p, q])
        first_position += len(part.positions)
        first_profile += len(part.profiles)
    return np.concatenate(positions), np.concatenate(profiles), np.concatenate(serves)
