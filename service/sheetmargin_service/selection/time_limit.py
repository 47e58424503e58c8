"""A limit on the time of one computation, asked at the steps of the search.

The clock is the monotonic one, which nobody sets.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_ends: ContextVar[float | None] = ContextVar("ends", default=None)


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


def check_time() -> None:
    """Raises OutOfTime where no time is left."""
    ends = _ends.get()
    if ends is not None and time.monotonic() >= ends:
        raise OutOfTime
