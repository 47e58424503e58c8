"""The smallest job that still does what a larger one does."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

Json = dict[str, Any]


def smaller(job: Json, still: Callable[[Json], bool], *, tries: int) -> Json:
    """Parts are left out one by one, the last first, and numbers rounded, as long as it is still so."""
    left = tries
    again = True
    while again and left > 0:
        again = False
        for candidate in _candidates(job):
            if left == 0:
                break
            left -= 1
            if still(candidate):
                job, again = candidate, True
                break
    return job


def _candidates(job: Json) -> Iterator[Json]:
    for path in sorted(_paths(job), key=lambda path: (len(path), repr(path)), reverse=False):
        owner, key = _at(job, path[:-1]), path[-1]
        value = owner[key]
        if not (isinstance(owner, list) and len(owner) == 1):
            without = deepcopy(job)
            del _at(without, path[:-1])[key]
            yield without
        if isinstance(value, float) and value != (rounded := float(f"{value:.1g}")):
            plainer = deepcopy(job)
            _at(plainer, path[:-1])[key] = rounded
            yield plainer


def _paths(value: Any, here: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    keys = value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    for key in keys:
        yield (*here, key)
        yield from _paths(value[key], (*here, key))


def _at(value: Any, path: tuple[str | int, ...]) -> Any:
    for key in path:
        value = value[key]
    return value
