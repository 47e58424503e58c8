"""A job list served by the fewest classes: an exact cover.

In this order: the most sheets served, the fewest classes to buy, the fewest gap and tilt positions, the fewest
profiles, the greatest worst margin, the first in order (of classes, then profiles, then positions). A chosen class may
stand at any of its chosen positions with any of its chosen profiles; each sheet takes the way that leaves it the most
margin.

Sets of classes that serve the most sheets with the fewest classes are few: they are listed by branching on a sheet that
is not served yet. What remains to choose within each is a mixed-integer programme.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from sheetmargin_service.selection.candidates import Array, Candidates
from sheetmargin_service.selection.programme import Choice, Counts, Flags, Index, Part, Programme, needed

_MOST_COMBINATIONS = 40_000


@dataclass(frozen=True, kw_only=True)
class Cover:
    """Which row of the candidates serves each sheet, None where none does, and the least margin of those served."""

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


def covers(candidates: Candidates, *, limit: int) -> Iterator[Cover]:
    """The best cover, then the best that has not all the classes of an earlier one, and so on up to `limit`."""
    blocks = {block.name: block for block in _blocks(candidates)}
    teams: dict[frozenset[str], _Team] = {}
    barred: list[frozenset[str]] = []
    while len(barred) < limit:
        names = _fewest_classes({name: block.served for name, block in blocks.items()}, barred)
        if not names:
            return
        for group in names:
            teams.setdefault(group, _Team([blocks[name] for name in sorted(group)]))
        team = _best([teams[group] for group in names])
        yield team.cover
        barred.append(frozenset(team.names))


class _Block:
    """One class by position and profile: row of the candidates (P, Q), -1 where there is none, and margin (P, Q, S)."""

    def __init__(self, name: str, rows: Index, candidates: Candidates) -> None:
        self.name = name
        p = np.unique([candidates.positions[row] for row in rows], axis=0, return_inverse=True)[1].ravel()
        q = np.unique([candidates.profiles[row] for row in rows], return_inverse=True)[1]
        self.rows = np.full((p.max() + 1, q.max() + 1), -1, dtype=np.intp)
        self.rows[p, q] = rows
        self.margin: Array = np.where((self.rows >= 0)[..., None], candidates.margin[self.rows], -np.inf)
        self.served = frozenset(np.flatnonzero(np.isfinite(self.margin.max(axis=(0, 1)))).tolist())


def _blocks(candidates: Candidates) -> list[_Block]:
    of_class = np.array(candidates.classes)
    return [_Block(name, np.flatnonzero(of_class == name), candidates) for name in sorted(set(candidates.classes))]


def _fewest_classes(served: Mapping[str, frozenset[int]], barred: Collection[frozenset[str]]) -> list[frozenset[str]]:
    """All least sets of classes that serve the most sheets and have not all the classes of a barred set, in order."""
    all_sheets = frozenset[int]().union(*served.values())
    # To keep clear of the barred sets is to go without one class of each.
    most = max(
        len(frozenset[int]().union(*(sheets for name, sheets in served.items() if name not in without)))
        for without in product(*barred)
    )
    if most == 0:
        return []
    widest = max(map(len, served.values()))

    def grow(chosen: frozenset[str], unserved: frozenset[int], spare: int, more: int) -> Iterator[frozenset[str]]:
        if len(unserved) <= spare:
            yield chosen
        elif more * widest >= len(unserved) - spare:
            sheet = min(unserved, key=lambda s: (sum(s in sheets for sheets in served.values()), s))
            for name, sheets in served.items():
                larger = chosen | {name}
                if sheet in sheets and not any(group <= larger for group in barred):
                    yield from grow(larger, unserved - sheets, spare, more - 1)
            if spare:
                yield from grow(chosen, unserved - {sheet}, spare - 1, more)

    for size in range(1, len(served) + 1):
        found = set(grow(frozenset(), all_sheets, len(all_sheets) - most, size))
        if found:
            return sorted(found, key=sorted)
    raise AssertionError("the most sheets are served by no set of classes")


class _Team:
    """One set of classes: the fewest positions and profiles that serve all sheets that it can serve, and how well."""

    def __init__(self, blocks: Sequence[_Block]) -> None:
        self._blocks = blocks
        self._sheets = sorted(frozenset[int]().union(*(block.served for block in blocks)))
        self._margins = [block.margin[:, :, self._sheets] for block in blocks]
        self._all = tuple((np.arange(m.shape[0]), np.arange(m.shape[1])) for m in self._margins)
        self.names = [block.name for block in blocks]

    @cached_property
    def _alone(self) -> tuple[float, Choice] | None:
        """Of a single class the best way that serves all, where there is one: then no programme is needed."""
        if len(self._margins) > 1:
            return None
        # Profiles in front: among equals the first profile wins before the first position.
        worst = self._margins[0].min(axis=2).T
        q, p = np.unravel_index(int(np.argmax(worst)), worst.shape)
        return (float(worst[q, p]), ((np.array([p]), np.array([q])),)) if np.isfinite(worst[q, p]) else None

    @cached_property
    def _one_way_each(self) -> bool:
        """Whether one way for each class serves all. False too where there are too many combinations to try."""
        reached = np.zeros((1, len(self._sheets)), dtype=np.bool_)
        for c, margin in enumerate(self._margins):
            ways = np.unique(np.isfinite(margin).reshape(-1, len(self._sheets)), axis=0)
            if len(reached) * len(ways) > _MOST_COMBINATIONS:
                return False
            reached = (reached[:, None, :] | ways).reshape(-1, len(self._sheets))
            # What no later class can serve must be served by now.
            due = ~self._served_by(self._margins[c + 1 :])
            reached = np.unique(reached[reached[:, due].all(axis=1)], axis=0)
        return len(reached) > 0

    def _served_by(self, margins: Sequence[Array]) -> Flags:
        """Whom any of the classes can serve, (S,)."""
        each = [np.isfinite(margin.max(axis=(0, 1))) for margin in margins]
        return np.asarray(np.any([np.zeros(len(self._sheets), dtype=np.bool_), *each], axis=0))

    @cached_property
    def positions(self) -> int:
        """The fewest positions."""
        if self._one_way_each:
            return len(self.names)
        return Programme(self._parts(self._all, merged=True)).best(Counts(positions=1, profiles=0)).counts.positions

    @cached_property
    def profiles(self) -> int:
        """The fewest profiles at the fewest positions."""
        if self._one_way_each:
            return len(self.names)
        limits = Counts(positions=self.positions, profiles=len(self._sheets))
        return Programme(self._parts(self._all)).best(Counts(positions=0, profiles=1), limits).counts.profiles

    @property
    def _limits(self) -> Counts:
        return Counts(positions=self.positions, profiles=self.profiles)

    @cached_property
    def at_best(self) -> float:
        """No worst margin can be greater: each sheet at its best, each class's one way at what it alone can serve."""
        bound = self._worst(self._all)
        if self._one_way_each:
            for c, margin in enumerate(self._margins):
                own = ~self._served_by(self._margins[:c] + self._margins[c + 1 :])
                bound = min(bound, float(margin[:, :, own].min(axis=2, initial=np.inf).max()))
        return bound

    @cached_property
    def worst(self) -> float:
        """The greatest worst margin at the fewest positions and profiles, by bisection over the margins that occur."""
        if self._alone:
            return self._alone[0]
        values = np.unique(np.concatenate([margin[np.isfinite(margin)] for margin in self._margins]))
        values = values[values <= self.at_best]
        low, middle = -np.inf, len(values) - 1  # the bound first: it is often reached
        while len(values):
            solution = Programme(self._parts(self._all, at_least=float(values[middle]))).within(self._limits)
            if solution is None:
                values = values[:middle]
            else:
                low = self._worst(solution.choice)
                values = values[values > low]
            middle = len(values) // 2
        return low

    @cached_property
    def cover(self) -> Cover:
        """The first in order of the best choices, each sheet on its best way."""
        if self._alone:
            return self._assign(self._alone[1])
        programme = Programme(self._parts(self._all, at_least=self.worst, drop=(0,)))
        by_profile = programme.first("profiles", self._limits).choice
        chosen = tuple((p, q) for (p, _), (_, q) in zip(self._all, by_profile, strict=True))
        programme = Programme(self._parts(chosen, at_least=self.worst, merged=True, drop=()))
        by_position = programme.first("positions", self._limits).choice
        return self._assign(tuple((p, q) for (p, _), (_, q) in zip(by_position, chosen, strict=True)))

    def _parts(
        self, within: Choice, *, at_least: float = -np.inf, merged: bool = False, drop: Collection[int] = (0, 1)
    ) -> list[Part]:
        """What serves with a margin of at least `at_least` in the choice `within`.

        `merged`: all profiles of a class count as one, which serves whom any of them serves. Along an axis in `drop`
        (0 positions, 1 profiles) what another one of the class replaces for every sheet, place by place of the other
        axis, is left out: it may be the first in order, but changes no count.
        """
        parts = []
        for margin, (p, q) in zip(self._margins, within, strict=True):
            here = margin[np.ix_(p, q)]
            serves: Flags = np.isfinite(np.where(here >= at_least, here, -np.inf))
            if merged:
                serves, q = np.logical_or.reduce(serves, axis=1, keepdims=True), q[:1]
            kept_p = needed(serves.reshape(len(p), -1), drop=0 in drop)
            kept_q = needed(serves.swapaxes(0, 1).reshape(len(q), -1), drop=1 in drop)
            parts.append(Part(positions=p[kept_p], profiles=q[kept_q], serves=serves[np.ix_(kept_p, kept_q)]))
        return parts

    def _worst(self, choice: Choice) -> float:
        best = [
            margin[np.ix_(p, q)].max(axis=(0, 1))
            for margin, (p, q) in zip(self._margins, choice, strict=True)
            if len(p) and len(q)
        ]
        return float(np.max(best, axis=0).min())

    def _assign(self, choice: Choice) -> Cover:
        """Each sheet to the chosen way with the greatest margin, the first row among equals."""
        rows, margins = [], []
        for block, (p, q) in zip(self._blocks, choice, strict=True):
            rows.append(block.rows[np.ix_(p, q)].ravel())
            margins.append(block.margin[np.ix_(p, q)].reshape(len(p) * len(q), -1))
        row, margin = np.concatenate(rows), np.concatenate(margins)
        order = np.argsort(row, kind="stable")
        best = row[order][margin[order].argmax(axis=0)]
        served = np.isfinite(margin.max(axis=0))
        return Cover(
            assignment=tuple(int(r) if ok else None for r, ok in zip(best, served, strict=True)),
            classes=tuple(self.names),
            worst=self.worst,
        )


def _best(teams: Sequence[_Team]) -> _Team:
    """The best of teams of one size that serve equally many sheets."""
    positions = min(team.positions for team in teams)
    teams = [team for team in teams if team.positions == positions]
    profiles = min(team.profiles for team in teams)
    teams = [team for team in teams if team.profiles == profiles]
    best: _Team | None = None
    for team in sorted(teams, key=lambda t: (-t.at_best, t.names)):
        if best is not None and team.at_best < best.worst:
            break
        if best is None or (-team.worst, team.names) < (-best.worst, best.names):
            best = team
    assert best is not None
    return best
