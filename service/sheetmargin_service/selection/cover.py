"""A job list served by the fewest classes: an exact cover by mixed-integer programming.

In this order: the most sheets served, the fewest classes to buy, the fewest gap and tilt positions, the fewest
profiles, the greatest worst margin, the first in order (of classes, then profiles, then positions). A chosen class may
stand at any of its chosen positions with any of its chosen profiles; each sheet takes the way that leaves it the most
margin.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from sheetmargin_service.selection.candidates import Array, Candidates
from sheetmargin_service.selection.programme import Choice, Counts, Flags, Index, Part, Programme

Barred = Sequence[frozenset[str]]


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


@dataclass(frozen=True, kw_only=True)
class _Block:
    """One class by position and profile: row of the candidates (P, Q), -1 where there is none, and margin (P, Q, S)."""

    name: str
    rows: Index
    margin: Array

    @property
    def everything(self) -> tuple[Index, Index]:
        return np.arange(self.rows.shape[0]), np.arange(self.rows.shape[1])


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
    return _assign(blocks, _single(blocks) or _several(blocks, barred))


def _blocks(candidates: Candidates) -> list[_Block]:
    of_class = np.array(candidates.classes)
    blocks = []
    for name in sorted(set(candidates.classes)):
        rows = np.flatnonzero(of_class == name)
        p = np.unique([candidates.positions[row] for row in rows], axis=0, return_inverse=True)[1].ravel()
        q = np.unique([candidates.profiles[row] for row in rows], return_inverse=True)[1]
        table = np.full((p.max() + 1, q.max() + 1), -1, dtype=np.intp)
        table[p, q] = rows
        margin = np.where((table >= 0)[..., None], candidates.margin[table], -np.inf)
        blocks.append(_Block(name=name, rows=table, margin=margin))
    return blocks


def _single(blocks: Sequence[_Block]) -> Choice | None:
    """One way that serves every sheet that can be served at all, if there is one: no programme is needed then."""
    servable = np.isfinite(np.max([block.margin.max(axis=(0, 1)) for block in blocks], axis=0))
    best: Choice | None = None
    greatest = -np.inf
    for b, block in enumerate(blocks):
        # Profiles in front: among equals the first profile wins before the first position.
        worst = block.margin[:, :, servable].min(axis=2).T
        q, p = np.unravel_index(int(np.argmax(worst)), worst.shape)
        if worst[q, p] > greatest:
            greatest = float(worst[q, p])
            best = {b: (np.array([p]), np.array([q]))}
    return best


def _several(blocks: Sequence[_Block], barred: Barred) -> Choice:
    """The cover by one programme after another, each within the counts of the one before."""
    sheets = blocks[0].margin.shape[2]
    places = {block.name: b for b, block in enumerate(blocks)}
    together = [frozenset(places[name] for name in group) for group in barred if group <= places.keys()]
    by_class_alone = Programme(_whole_classes(blocks), together)
    least = by_class_alone.best(Counts(left_out=len(blocks) + 1, classes=1)).counts
    within = {b: blocks[b].everything for b in by_class_alone.possible("classes", least)}
    programme = Programme(_parts(blocks, within=within), together)
    solution = programme.best(
        Counts(positions=sheets + 1, profiles=1), least._replace(positions=sheets, profiles=sheets)
    )
    limits = solution.counts
    worst = _greatest_worst(blocks, together, limits=limits, start=solution.choice, within=within)
    by_class = Programme(_parts(blocks, at_least=worst, within=within), together).first("classes", limits).choice
    all_profiles = {b: blocks[b].everything for b in by_class}
    by_profile = Programme(_parts(blocks, at_least=worst, within=all_profiles, drop=("positions",)), together)
    profiles = {b: (blocks[b].everything[0], q) for b, (_, q) in by_profile.first("profiles", limits).choice.items()}
    by_position = Programme(_parts(blocks, at_least=worst, within=profiles, drop=()), together)
    return by_position.first("positions", limits).choice


def _whole_classes(blocks: Sequence[_Block]) -> list[Part]:
    """Each class as if it had one position and one profile that serve all that it can serve."""
    one = np.zeros(1, dtype=np.intp)
    return [
        Part(positions=one, profiles=one, serves=np.isfinite(block.margin.max(axis=(0, 1), keepdims=True)))
        for block in blocks
    ]


def _parts(
    blocks: Sequence[_Block],
    *,
    at_least: float = -np.inf,
    within: Choice | None = None,
    drop: Collection[str] = ("positions", "profiles"),
) -> list[Part]:
    """What serves with a margin of at least `at_least`, in the choice `within`, without what cannot change the optimum.

    That is a position all of whose sheets, profile by profile, another position of the class serves too; a profile
    likewise. It is dropped only as `drop` says: it may still be the first in order.
    """
    parts = []
    for b, block in enumerate(blocks):
        none = np.zeros(0, dtype=np.intp)
        p, q = block.everything if within is None else within.get(b, (none, none))
        margin = block.margin[np.ix_(p, q)]
        serves: Flags = np.isfinite(margin) & (margin >= at_least)
        kept_p = _needed(serves, drop="positions" in drop)
        kept_q = _needed(serves.swapaxes(0, 1), drop="profiles" in drop)
        parts.append(Part(positions=p[kept_p], profiles=q[kept_q], serves=serves[np.ix_(kept_p, kept_q)]))
    return parts


def _needed(serves: Flags, *, drop: bool) -> Index:
    """Entries along the first axis that serve somebody; with `drop`, without those that another one can replace."""
    flat = serves.reshape(len(serves), prod(serves.shape[1:])).astype(np.float32)
    useful = flat.any(axis=1)
    if drop:
        lacks = flat @ (1.0 - flat).T > 0.0  # [a, b]: a serves somebody whom b does not
        order = np.arange(len(flat))
        useful &= ~np.any(~lacks & (lacks.T | (order[None, :] < order[:, None])), axis=1)
    return np.flatnonzero(useful)


def _worst(blocks: Sequence[_Block], choice: Choice, *, left_out: float) -> float:
    """The least margin once `left_out` sheets are left out."""
    best = np.max([blocks[b].margin[np.ix_(p, q)].max(axis=(0, 1)) for b, (p, q) in choice.items()], axis=0)
    return float(np.sort(best)[int(left_out)])


def _greatest_worst(
    blocks: Sequence[_Block], together: Sequence[frozenset[int]], *, limits: Counts, start: Choice, within: Choice
) -> float:
    """The greatest worst margin within the counts, by bisection over the margins that occur."""
    low = _worst(blocks, start, left_out=limits.left_out)
    high = _worst(blocks, within, left_out=limits.left_out)
    values = np.unique(np.concatenate([blocks[b].margin.ravel() for b in within]))
    values = values[(values > low) & (values <= high)]
    while len(values):
        middle = len(values) // 2
        solution = Programme(_parts(blocks, at_least=float(values[middle]), within=within), together).within(limits)
        if solution is None:
            values = values[:middle]
        else:
            low = _worst(blocks, solution.choice, left_out=limits.left_out)
            values = values[values > low]
    return low


def _assign(blocks: Sequence[_Block], choice: Choice) -> Cover:
    """Each sheet to the chosen way with the greatest margin, the first row among equals."""
    rows = np.concatenate([blocks[b].rows[np.ix_(p, q)].ravel() for b, (p, q) in choice.items()])
    margin = np.concatenate(
        [blocks[b].margin[np.ix_(p, q)].reshape(len(p) * len(q), -1) for b, (p, q) in choice.items()]
    )
    order = np.argsort(rows, kind="stable")
    rows, margin = rows[order], margin[order]
    best = margin.argmax(axis=0)
    greatest = margin.max(axis=0)
    served = np.isfinite(greatest)
    return Cover(
        assignment=tuple(int(rows[row]) if ok else None for row, ok in zip(best, served, strict=True)),
        classes=tuple(sorted(blocks[b].name for b in choice)),
        worst=float(greatest[served].min()),
    )
