"""The mixed-integer programme behind a cover: positions and profiles of given classes, so that every sheet is served.

Variables, 0 or 1: each position, each profile; and how much of a sheet is served by each way (a position with a
profile) that can. What a sheet is served adds up to 1 or more; what all ways of one position serve of a sheet is at
most that position, and likewise for a profile. These bounds, sheet by sheet, are what lets the relaxation come out
whole almost always. With whole positions and profiles the services may be fractions.

A sheet that every way serves which serves some other sheet is served with that one, and takes no part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, vstack

from sheetmargin_service.selection.setcover import Array, Flags, Index, needed
from sheetmargin_service.selection.time_limit import check_time

Rows = list[tuple[csr_array, float]]
Choice = tuple[tuple[Index, Index], ...]
"""Positions and profiles of each class, by their places in its table."""

_INFEASIBLE = 2


class Counts(NamedTuple):
    """How many positions and profiles, or the weight of each in what is made least."""

    positions: int
    profiles: int


@dataclass(frozen=True, kw_only=True)
class Part:
    """What a programme sees of one class: positions (p,) and profiles (q,) by their places in its table, and whom each
    way serves, (p, q, S)."""

    positions: Index
    profiles: Index
    serves: Flags


@dataclass(frozen=True, kw_only=True)
class Solution:
    """What is chosen; `taken` are the variables."""

    taken: Array
    counts: Counts
    choice: Choice


class Programme:
    """One programme: the parts' classes serve every sheet (S) that takes part; there are ways that do."""

    def __init__(self, parts: Sequence[Part]) -> None:
        self._parts = parts
        way_position, way_profile, serves = _ways(parts)
        # Of the sheets' lists of ways those stay that contain no other: in complements, that are contained in no other.
        sheets = needed(~serves.T)
        serves = serves[:, sheets] if len(sheets) else serves[:, :1]
        service_way, sheet = np.nonzero(serves)
        sizes = (sum(len(part.positions) for part in parts), sum(len(part.profiles) for part in parts), len(sheet))
        positions, profiles, services = np.split(np.arange(sum(sizes)), np.cumsum(sizes)[:-1])
        self._of = {"positions": positions, "profiles": profiles}
        self._variables = sum(sizes)
        self._whole = np.ones(self._variables, dtype=np.intp)
        self._whole[services] = 0
        served = csr_array((np.ones(len(sheet)), (sheet, services)), shape=(serves.shape[1], self._variables))
        at_most = [
            self._shared(services, sheet, holder)
            for holder in (positions[way_position[service_way]], profiles[way_profile[service_way]])
        ]
        self._matrix = vstack([-served, *at_most], format="csr")
        self._upper = np.concatenate([-np.ones(serves.shape[1]), np.zeros(sum(rows.shape[0] for rows in at_most))])

    def best(self, weights: Counts, limits: Counts | None = None) -> Solution:
        """The choice of least weighted counts; raises RuntimeError where `limits` leave none."""
        cost = np.zeros(self._variables)
        for what, weight in weights._asdict().items():
            cost[self._of[what]] = weight
        return _existing(self._solve(cost, self._limits(limits) if limits else []))

    def within(self, limits: Counts) -> Solution | None:
        """Any choice within the counts."""
        return self._solve(np.zeros(self._variables), self._limits(limits))

    def first(self, limits: Counts) -> Solution:
        """The choice within the counts whose positions come first in order; RuntimeError where there is none."""
        these = self._of["positions"]
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
            better = self._solve(cost, [*rows, self._some(earlier)]) if len(earlier) else None
            if better is None:
                last = int(taken[0])
                rows.append(self._some(taken[:1]))
            else:
                solution = better

    def _some(self, columns: Index) -> tuple[csr_array, float]:
        """At least one of the variables."""
        return -self._sum(columns), -1.0

    def _limits(self, limits: Counts) -> Rows:
        return [(self._sum(self._of[what]), limit) for what, limit in limits._asdict().items()]

    def _sum(self, columns: Index) -> csr_array:
        return csr_array((np.ones(len(columns)), (np.zeros_like(columns), columns)), shape=(1, self._variables))

    def _shared(self, services: Index, sheet: Index, holder: Index) -> csr_array:
        """For each sheet and holder that occur together: what the holder's ways serve of the sheet, less the holder."""
        pairs, row = np.unique(np.stack([sheet, holder]), axis=1, return_inverse=True)
        count = pairs.shape[1]
        value = np.concatenate([np.ones(len(services)), -np.ones(count)])
        place = (np.concatenate([row.ravel(), np.arange(count)]), np.concatenate([services, pairs[1]]))
        return csr_array((value, place), shape=(count, self._variables))

    def _solve(self, cost: Array, rows: Rows) -> Solution | None:
        left_s = check_time()
        result = milp(
            cost,
            integrality=self._whole,
            bounds=Bounds(0.0, 1.0),
            constraints=LinearConstraint(
                vstack([self._matrix, *(row for row, _ in rows)], format="csr"),
                -np.inf,
                np.concatenate([self._upper, [limit for _, limit in rows]]),
            ),
            options={"mip_rel_gap": 0.0, "time_limit": left_s},
        )
        check_time()
        if result.status == _INFEASIBLE:
            return None
        if not result.success:
            raise RuntimeError(f"the cover was not solved: {result.message}")
        return self._solution(result.x)

    def _solution(self, taken: Array) -> Solution:
        positions, profiles = (taken[self._of[what]] > 0.5 for what in ("positions", "profiles"))
        counts = Counts(positions=int(positions.sum()), profiles=int(profiles.sum()))
        choice = []
        for part in self._parts:
            p, positions = np.split(positions, [len(part.positions)])
            q, profiles = np.split(profiles, [len(part.profiles)])
            choice.append((part.positions[p], part.profiles[q]))
        return Solution(taken=taken, counts=counts, choice=tuple(choice))


def _existing(solution: Solution | None) -> Solution:
    if solution is None:
        raise RuntimeError("no choice lies within the counts")
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
