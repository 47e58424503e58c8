"""A job list served by the fewest classes: an exact cover.

In this order: the most sheets served, the fewest classes to buy, the fewest gap and tilt positions, the fewest
profiles, the greatest worst margin, the first in order (of classes, then positions, then profiles). A chosen class may
stand at any of its chosen positions with any of its chosen profiles; each sheet takes the way that leaves it the most
margin.

Sets of classes that serve the most sheets with the fewest classes are few: they are listed by branching on a sheet that
is not served yet. What remains to choose within each is `class_set`'s.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.class_set import Block, ClassSet, block_of


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
    blocks = _blocks(candidates)
    class_sets: dict[frozenset[str], ClassSet] = {}
    barred: list[frozenset[str]] = []
    while len(barred) < limit:
        groups = _fewest_classes({name: block.served for name, block in blocks.items()}, barred)
        if not groups:
            return
        for group in groups:
            if group not in class_sets:
                class_sets[group] = ClassSet([blocks[name] for name in sorted(group)])
        class_set = _best([class_sets[group] for group in groups])
        yield Cover(assignment=class_set.assignment, classes=tuple(class_set.names), worst=class_set.worst)
        barred.append(frozenset(class_set.names))


def _blocks(candidates: Candidates) -> dict[str, Block]:
    of_class = np.array(candidates.classes)
    return {
        name: block_of(name, np.flatnonzero(of_class == name), candidates) for name in sorted(set(candidates.classes))
    }


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


def _best(class_sets: Sequence[ClassSet]) -> ClassSet:
    """The best of sets of classes of one size that serve equally many sheets."""
    positions = min(class_set.positions for class_set in class_sets)
    class_sets = [class_set for class_set in class_sets if class_set.positions == positions]
    profiles = min(class_set.profiles for class_set in class_sets)
    class_sets = [class_set for class_set in class_sets if class_set.profiles == profiles]
    best: ClassSet | None = None
    for class_set in sorted(class_sets, key=lambda t: (-t.at_best, t.names)):
        if best is not None and class_set.at_best < best.worst:
            break
        if best is None or (-class_set.worst, class_set.names) < (-best.worst, best.names):
            best = class_set
    assert best is not None
    return best
