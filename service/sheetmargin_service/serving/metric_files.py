"""Files in which the processes of one instance count, and what becomes of those of processes that have ended.

prometheus_client keeps the files of each process for ever, since counts must not fall. With workers that are replaced
every few thousand requests these would become many, so a worker's counts are added to a common file when it ends.
"""

from __future__ import annotations

import atexit
import fcntl
import logging
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

log = logging.getLogger(__name__)

DIRECTORY = "PROMETHEUS_MULTIPROC_DIR"
"""The environment variable that prometheus_client reads when it is loaded."""

ENDED = "ended"
ROOM = 1 << 20
"""Bytes of each file, some ten thousand values: more than there are routes, statuses and buckets."""
_KINDS = ("counter", "histogram")
_PREFIX = "sheetmargin-counts-"


def prepare(*parents: str | None) -> Path:
    """Make and announce a directory for the counts, in the first of these places that has room, or for None where
    temporary files go. To be called before prometheus_client is loaded; this process takes it away as it ends."""
    if DIRECTORY not in os.environ:
        directory = next(filter(None, map(_made, parents)), None)
        if directory is None:
            sys.exit(f"Error: no room for counts in any of {', '.join(p or tempfile.gettempdir() for p in parents)}")
        os.environ[DIRECTORY] = str(directory)
        atexit.register(_remove, directory, os.getpid())
    return Path(os.environ[DIRECTORY])


def _made(parent: str | None) -> Path | None:
    """A directory that has what this process, and those that will have ended, need; None where that cannot be."""
    try:
        directory = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=parent))
    except OSError:
        return None
    try:
        (directory / "lock").touch()
        for process in (os.getpid(), ENDED):
            _reserve(directory, process)
    except OSError:
        shutil.rmtree(directory, ignore_errors=True)
        return None
    return directory


def reserve(process: int) -> None:
    """Take the room that the counts of a new process need, before it counts: a write to a mapped file for which there
    is none ends a process. Then its counts go where temporary files go, and are told by it alone."""
    try:
        _reserve(Path(os.environ[DIRECTORY]), process)
    except OSError as error:
        log.error("no room for counts in %s: %s", os.environ[DIRECTORY], error.strerror)
        os.environ[DIRECTORY] = tempfile.mkdtemp(prefix=_PREFIX)


def _reserve(directory: Path, process: int | str) -> None:
    for kind in (*_KINDS, "gauge_livesum"):
        made = directory / f"{kind}_{process}.db"
        # Who reads the counts meanwhile would stumble over a file that is still empty.
        empty = made.with_suffix(".new")
        with empty.open("wb") as file:
            os.posix_fallocate(file.fileno(), 0, ROOM)
        empty.replace(made)


def _remove(directory: Path, owner: int) -> None:
    """Take the directory away, unless this is a fork of the process that made it."""
    if os.getpid() == owner:
        shutil.rmtree(directory, ignore_errors=True)


@contextmanager
def reading() -> Iterator[None]:
    """Hold off changes to the set of files."""
    with _locked(fcntl.LOCK_SH):
        yield


def settle(process: int) -> None:
    """Add what an ended process has counted to the common file, and drop its gauges. Where that fails it is logged."""
    try:
        _settle(process)
    except OSError as error:
        log.error("the counts of process %s are lost: %s", process, error)


def _settle(process: int) -> None:
    from prometheus_client.mmap_dict import MmapedDict
    from prometheus_client.multiprocess import mark_process_dead

    directory = Path(os.environ[DIRECTORY])
    with _locked(fcntl.LOCK_EX):
        mark_process_dead(process)  # type: ignore[no-untyped-call]
        for kind in _KINDS:
            file = directory / f"{kind}_{process}.db"
            if not file.exists():
                continue
            common = MmapedDict(str(directory / f"{kind}_{ENDED}.db"))  # type: ignore[no-untyped-call]
            for key, value, _time, _place in MmapedDict.read_all_values_from_file(str(file)):  # type: ignore[no-untyped-call]
                before, _ = common.read_value(key)  # type: ignore[no-untyped-call]
                common.write_value(key, before + value, 0.0)  # type: ignore[no-untyped-call]
            common.close()  # type: ignore[no-untyped-call]
            file.unlink()


@contextmanager
def _locked(how: int) -> Iterator[None]:
    with (Path(os.environ[DIRECTORY]) / "lock").open("a") as file:
        fcntl.flock(file, how)
        yield
