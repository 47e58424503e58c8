"""A limit on the time of one computation, asked at the steps of the search, and whose turn it is to compute.

The clock is the monotonic one, which nobody sets.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_ends: ContextVar[float | None] = ContextVar("ends", default=None)
_wait_for_turn: ContextVar[Callable[[float | None], None] | None] = ContextVar("wait_for_turn", default=None)


class OutOfTime(Exception):  # noqa: N818 - what it says
    """The computation was given up: its time is over."""


@contextmanager
def time_limit(seconds: float | None) -> Iterator[None]:
    """Let `check_time` raise OutOfTime after so many seconds; None is no limit. An outer limit holds on."""
    outer = _ends.get()
    ends = outer if seconds is None else min(time.monotonic() + seconds, outer or float("inf"))
    token = _ends.set(ends)
    try:
        yield
    finally:
        _ends.reset(token)


@contextmanager
def turns(wait: Callable[[float | None], None]) -> Iterator[None]:
    """Let `check_time` call `wait` with the time at which waiting is of no use any more."""
    token = _wait_for_turn.set(wait)
    try:
        yield
    finally:
        _wait_for_turn.reset(token)


def check_time() -> None:
    """Let others compute whose turn it is; raises OutOfTime where no time is left."""
    ends, wait = _ends.get(), _wait_for_turn.get()
    if wait is not None:
        wait(ends)
    if ends is not None and time.monotonic() >= ends:
        raise OutOfTime
