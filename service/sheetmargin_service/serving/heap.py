"""Memory of a worker's threads.

The variables of glibc's environment do not do the same (measured with one worker, 96 answers, lists and batches by four
threads): with MALLOC_ARENA_MAX alone a worker keeps 154 MB of its own in the place of 97. With MALLOC_TRIM_THRESHOLD_
beside it, it keeps 106 MB, but memory goes back and forth within every answer: ten times the page faults, and 40 % more
processor time.
"""

from __future__ import annotations

import ctypes
import time

PAUSE_S = 10.0
"""Between two times that free memory is given back: it takes a few milliseconds (a choice)."""
_ARENA_MAX = -8
"""M_ARENA_MAX of glibc's malloc.h."""


def share_one_heap() -> bool:
    """Let all threads of this process and its children allocate from one heap; whether the C library can be told so.

    glibc gives each thread an arena of its own, which stays as large as the largest answer that the thread ever made.
    Only one thread at a time computes, so that they do not wait for each other.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    return mallopt is not None and mallopt(_ARENA_MAX, 1) == 1


class FreeMemory:
    """What the heap of this process holds free, given back to the system now and then.

    A heap stays as large as all that was ever computed side by side in it.
    """

    def __init__(self, pause_s: float = PAUSE_S) -> None:
        self.pause_s = pause_s
        self._last_s = time.monotonic()
        self._trim = getattr(ctypes.CDLL(None), "malloc_trim", None)

    def give_back(self) -> None:
        """To be called often; does nothing within `pause_s` of the last time, or with another C library than glibc."""
        now = time.monotonic()
        if self._trim is None or now - self._last_s < self.pause_s:
            return
        self._last_s = now
        self._trim(0)
