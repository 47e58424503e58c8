"""Fixtures for every test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable

import pytest

PROGRAMS = {
    "chromium": ("chromium", "chromedriver"),
    "nginx": ("nginx",),
    "redis": ("redis-server",),
    "node": ("node",),
}
"""The programs of each system part that a test may need. `.ci/run` installs those that some test asks for."""


@pytest.fixture(scope="session")
def require_part() -> Callable[[str], str]:
    """A function that a test calls with the name of a system part; it returns the path of the part's program.

    An absent part skips the test with the reason; where the environment variable SHEETMARGIN_REQUIRE names the part, it
    fails the test.
    """
    required = [part for part in os.environ.get("SHEETMARGIN_REQUIRE", "").split(",") if part]

    def require(part: str) -> str:
        paths = [shutil.which(program) for program in PROGRAMS[part]]
        missing = [program for program, path in zip(PROGRAMS[part], paths, strict=True) if path is None]
        if missing and part in required:
            pytest.fail(f"SHEETMARGIN_REQUIRE names {part}, but {', '.join(missing)} is not on the PATH")
        if missing:
            pytest.skip(f"needs {part}: {', '.join(missing)} is not on the PATH")
        return paths[0] or ""

    return require
