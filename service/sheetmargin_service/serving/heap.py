"""Memory of a worker's threads."""

from __future__ import annotations

import ctypes

_ARENA_MAX = -8
"""M_ARENA_MAX of glibc's malloc.h."""


def share_one_heap() -> bool:
    """Let all threads of this process and its children allocate from one heap; whether the C library can be told so.

    glibc gives each thread an arena of its own, which stays as large as the largest answer that the thread ever made.
    Only one thread at a time computes, so that they do not wait for each other.
    """
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    return mallopt is not None and mallopt(_ARENA_MAX, 1) == 1
