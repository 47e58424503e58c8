"""A job list run in the given order: the ways that cost the fewest change-overs, by dynamic programming.

In this order: the fewest changes of class, the fewest of position (gap or tilt), the fewest of profile, the greatest
worst margin, the first in order, sheet by sheet. A change of class brings its own position and profile and counts as
that alone. Sheets that nothing serves are not run.

A cost is one whole number: changes of class, position and profile as the digits of a number, then the rank of the worst
margin, 0 for the greatest. Backwards from the end this gives the least cost of the rest of the list on each row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Changeovers

from sheetmargin_service.selection.list_cover.candidates import Candidates

Index = NDArray[np.intp]
Cost = NDArray[np.int64]
_NEVER = 2**62


@dataclass(frozen=True, kw_only=True)
class Run:
    """Which row of the candidates serves each sheet, None where none does; what changes meanwhile; the least margin."""

    assignment: tuple[int | None, ...]
    changeovers: Changeovers
    worst: float

    @property
    def unserved(self) -> tuple[int, ...]:
        return tuple(sheet for sheet, row in enumerate(self.assignment) if row is None)


def cheapest_run(candidates: Candidates) -> Run | None:
    """The best way to run the sheets in their order; None where no sheet can be served."""
    served = np.flatnonzero(np.isfinite(candidates.margin).any(axis=0))
    if len(served) == 0:
        return None
    margin = candidates.margin[:, served]
    values = np.unique(margin[np.isfinite(margin)])
    rank = np.where(np.isfinite(margin), len(values) - 1 - np.searchsorted(values, margin), _NEVER)
    steps = _Steps(candidates, sheets=len(served), ranks=len(values))
    to_go = [rank[:, -1]]
    for sheet in range(len(served) - 2, -1, -1):
        to_go.append(steps.worse(steps.before(to_go[-1]), rank[:, sheet]))
    to_go.reverse()
    rows = _first_in_order(to_go, steps)
    assignment: list[int | None] = [None] * candidates.margin.shape[1]
    for sheet, row in zip(served.tolist(), rows, strict=True):
        assignment[sheet] = row
    return Run(
        assignment=tuple(assignment),
        changeovers=steps.changes(rows),
        worst=min(float(candidates.margin[row, sheet]) for sheet, row in zip(served, rows, strict=True)),
    )


class _Steps:
    """Costs of going from one row to the next."""

    def __init__(self, candidates: Candidates, *, sheets: int, ranks: int) -> None:
        self._ranks = ranks
        self._profile = ranks
        self._position = sheets * self._profile
        self._class = sheets * self._position
        self._ids = list(zip(candidates.classes, candidates.positions, candidates.profiles, strict=True))
        # Rows that share what a change between them leaves alone, and what that change costs.
        self._groups = [
            (_codes([c for c, _, _ in self._ids]), self._position + self._profile),
            (_codes([(c, q) for c, _, q in self._ids]), self._position),
            (_codes([(c, p) for c, p, _ in self._ids]), self._profile),
        ]

    def before(self, cost: Cost) -> Cost:
        """Least cost after each row, when `cost` is the least cost from each row on for the next sheet."""
        least: Cost = np.minimum(cost, cost.min() + self._class)
        for group, step in self._groups:
            of_group = np.full(group.max() + 1, _NEVER)
            np.minimum.at(of_group, group, cost)
            least = np.minimum(least, of_group[group] + step)
        return least

    def worse(self, cost: Cost, rank: Cost) -> Cost:
        """The cost with a margin of that rank besides."""
        changes, worst = np.divmod(cost, self._ranks)
        return np.asarray(np.where(rank == _NEVER, _NEVER, changes * self._ranks + np.maximum(worst, rank)))

    def after(self, row: int) -> Cost:
        """What going from one row to each other costs."""
        here = np.full(len(self._ids), self._class)
        for group, step in self._groups:
            here[group == group[row]] = step
        here[row] = 0
        return here

    def changes(self, rows: Sequence[int]) -> Changeovers:
        digits = sum(int(self.after(a)[b]) for a, b in pairwise(rows))
        classes, rest = divmod(digits, self._class)
        positions, rest = divmod(rest, self._position)
        return Changeovers(detector_class=classes, geometry=positions, profile=rest // self._profile)

    def splits(self, cost: Cost) -> tuple[Cost, Cost]:
        """The changes, and the rank of the worst margin."""
        worst = cost % self._ranks
        return cost - worst, worst


def _codes(keys: Sequence[object]) -> Index:
    """The same number for the same key."""
    code: dict[object, int] = {}
    return np.array([code.setdefault(key, len(code)) for key in keys], dtype=np.intp)


def _first_in_order(to_go: Sequence[Cost], steps: _Steps) -> list[int]:
    """Of the sequences of least cost, the one whose rows come first."""
    changes, worst = steps.splits(to_go[0].min())
    rows: list[int] = []
    for cost in to_go:
        ahead, rank = steps.splits(cost)
        step = steps.after(rows[-1]) if rows else np.zeros_like(cost)
        row = int(np.flatnonzero((ahead + step == changes) & (rank <= worst) & (cost < _NEVER))[0])
        changes = changes - step[row]
        rows.append(row)
    return rows
