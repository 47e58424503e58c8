"""Fixtures for every test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from ctypes.util import find_library
from pathlib import Path

import pytest

# Before NumPy is loaded: as the service sets it, since threads of linear algebra only get in each other's way.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

MOST_PROCESSES = 4
"""That share the tests: more would mostly repeat the start of services (a choice)."""

PROGRAMS = {
    "chromium": ("chromium", "chromedriver"),
    "firefox": ("firefox-esr",),
    "webkit": ("WebKitWebDriver", "Xvfb"),
    "nginx": ("nginx",),
    "redis": ("redis-server",),
    "node": ("node", "npm"),
    "containers": ("buildah", "podman", "runc", "debootstrap"),
}
LIBRARIES = {
    "pango": ("pango-1.0", "pangoft2-1.0", "harfbuzz-subset"),
}
"""Programs or libraries of each system part that a test may need. `.ci/run` installs those that some test asks for."""


LONG = "\npytestmark = pytest.mark.long\n"


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Files that are long as a whole are not even loaded where long tests are left out: some take seconds."""
    left_out = config.option.markexpr == "not long" and collection_path.suffix == ".py"
    return True if left_out and LONG in collection_path.read_text(encoding="utf-8") else None


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """The whole of plain pytest is shared by the cores. What is asked for by name or is long runs in this one process:
    it is looked into, or measures time.

    Optional: this file is also tested without pytest-xdist.
    """
    plain = config.args_source is pytest.Config.ArgsSource.TESTPATHS and config.option.markexpr == "not long"
    return min(MOST_PROCESSES, len(os.sched_getaffinity(0))) if plain else 0


@pytest.fixture(scope="session")
def require_part() -> Callable[[str], str]:
    """A function that a test calls with the name of a system part; it returns the part's program, or its library.

    An absent part skips the test with the reason; where the environment variable SHEETMARGIN_REQUIRE names the part, it
    fails the test.
    """
    required = [part for part in os.environ.get("SHEETMARGIN_REQUIRE", "").split(",") if part]

    def require(part: str) -> str:
        find, names = (shutil.which, PROGRAMS[part]) if part in PROGRAMS else (find_library, LIBRARIES[part])
        found = {name: find(name) for name in names}
        missing = ", ".join(name for name, path in found.items() if path is None)
        if missing and part in required:
            pytest.fail(f"SHEETMARGIN_REQUIRE names {part}, but {missing} is not found")
        if missing:
            pytest.skip(f"needs {part}: {missing} is not found")
        return found[names[0]] or ""

    return require
