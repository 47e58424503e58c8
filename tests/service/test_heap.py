"""Threads of one heap: what glibc's own account of its arenas says, malloc_info(3)."""

from __future__ import annotations

import subprocess
import sys

import pytest

PROGRAM = """
import ctypes, sys, threading
from sheetmargin_service.serving.heap import share_one_heap

if sys.argv[1:] == ["shared"] and not share_one_heap():
    sys.exit("not glibc")
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
together = threading.Barrier(4)

def allocate():
    together.wait()
    libc.malloc(10_000)
    together.wait()

threads = [threading.Thread(target=allocate) for _ in range(4)]
for thread in threads: thread.start()
for thread in threads: thread.join()
libc.malloc_info(0, ctypes.c_void_p.in_dll(libc, "stdout"))
libc.fflush(None)
"""


def heaps(*arguments: str) -> int:
    done = subprocess.run([sys.executable, "-c", PROGRAM, *arguments], capture_output=True, text=True)
    if done.stderr:
        pytest.skip("another C library than glibc")
    return done.stdout.count("<heap nr=")


def test_threads_share_one_heap_where_they_are_told_to() -> None:
    assert heaps("shared") == 1
    assert heaps() > 1
