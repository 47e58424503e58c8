"""The fixture that asks for a system part: an absent one is skipped, or fails where it is required."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).parent / "conftest.py"
# Single quotes: `.ci/run` looks for the call with double ones to see what to install.
TEST = "def test_of_a_proxy(require_part):\n    assert require_part('nginx')\n"


@pytest.mark.parametrize(
    ("present", "required", "outcome"),
    [
        (False, "", "1 skipped"),
        (False, "chromium,redis", "1 skipped"),
        (False, "chromium,nginx", "1 failed"),
        (True, "", "1 passed"),
        (True, "chromium,nginx", "1 passed"),
    ],
)
def test_outcome(tmp_path: Path, present: bool, required: str, outcome: str) -> None:
    shutil.copy(CONFTEST, tmp_path)
    (tmp_path / "test_it.py").write_text(TEST)
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    programs = tmp_path / "bin"
    programs.mkdir()
    if present:
        (programs / "nginx").touch(mode=0o755)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-rsf", str(tmp_path)],
        env=os.environ
        | {"PATH": str(programs), "SHEETMARGIN_REQUIRE": required, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert outcome in done.stdout, done.stdout + done.stderr
    assert present or "nginx is not found" in done.stdout
