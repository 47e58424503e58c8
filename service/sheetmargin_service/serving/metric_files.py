"""Files in which the processes of one instance count, and what becomes of those of processes that have ended.

prometheus_client keeps the files of each process for ever, since counts must not fall. With workers that are replaced
every few thousand requests these would become many, so a worker's counts are added to a common file when it ends.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DIRECTORY = "PROMETHEUS_MULTIPROC_DIR"
"""The environment variable that prometheus_client reads when it is loaded."""

ENDED = "ended"
_KINDS = ("counter", "histogram")
_PREFIX = "sheetmargin-counts-"


def prepare(parent: str | None) -> Path:
    """Make and announce a directory for the counts, once; to be called before prometheus_client is loaded."""
    if DIRECTORY not in os.environ:
        os.environ[DIRECTORY] = tempfile.mkdtemp(prefix=_PREFIX, dir=parent)
    return Path(os.environ[DIRECTORY])


def remove(directory: Path) -> None:
    """Take the directory away, if `prepare` made it."""
    if directory.name.startswith(_PREFIX):
        shutil.rmtree(directory, ignore_errors=True)


@contextmanager
def reading() -> Iterator[None]:
    """Hold off changes to the set of files."""
    with _locked(fcntl.LOCK_SH):
        yield


def settle(process: int) -> None:
    """Add what an ended process has counted to the common file, and drop its gauges."""
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
