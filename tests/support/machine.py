"""What a process takes, as Linux tells it (proc(5))."""

from __future__ import annotations

from pathlib import Path


def children_of(process: int) -> list[int]:
    """Processes that a process has forked, the oldest first."""
    return sorted(int(text) for text in Path(f"/proc/{process}/task/{process}/children").read_text().split())


def memory_mb(process: int, what: str = "Pss") -> float:
    """Memory of a process in MB: `Pss` counts a page that n processes share as its nth part, `Rss` as a whole."""
    for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
        name, _, rest = line.partition(":")
        if name == what:
            return float(rest.split()[0]) / 1024.0
    raise ValueError(f"the kernel does not tell {what}")


def peak_mb(process: int) -> float:
    """The most memory that a process has had at once, in MB."""
    return _status_mb(process, "VmHWM")


def address_space_mb(process: int) -> float:
    """What RLIMIT_AS limits, in MB."""
    return _status_mb(process, "VmSize")


def _status_mb(process: int, name: str) -> float:
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith(name):
            return float(line.split()[1]) / 1024.0
    raise ValueError(f"the kernel does not tell {name}")
