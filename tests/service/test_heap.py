"""Threads of one heap: what glibc's own account of its arenas says, malloc_info(3)."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from pathlib import Path

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


FREED = """
import ctypes, os
from sheetmargin_service.serving.heap import FreeMemory
from support.machine import memory_mb

libc = ctypes.CDLL(None)
libc.malloc.restype, libc.free.argtypes = ctypes.c_void_p, [ctypes.c_void_p]
blocks = [libc.malloc(50_000) for _ in range(2_000)]
for block in blocks: ctypes.memset(block, 1, 50_000)
for block in blocks[:-1]: libc.free(block)
print(memory_mb(os.getpid(), "Rss"))
FreeMemory(pause_s=1000.0).give_back()
print(memory_mb(os.getpid(), "Rss"))
FreeMemory(pause_s=0.0).give_back()
print(memory_mb(os.getpid(), "Rss"))
"""


def test_what_is_free_below_what_is_used_is_given_back_in_its_time() -> None:
    """100 MB freed, with one block in use above them."""
    if getattr(ctypes.CDLL(None), "malloc_trim", None) is None:
        pytest.skip("another C library than glibc")
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])}
    done = subprocess.run([sys.executable, "-c", FREED], capture_output=True, text=True, env=environment, check=True)
    before, too_soon, after = (float(line) for line in done.stdout.split())
    assert too_soon > before - 5.0
    assert after < before - 80.0
