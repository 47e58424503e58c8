"""The page of principles is what the code computes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from sheetmargin_service.prediction.principles import principles

ROOT = Path(__file__).parents[2]


def test_page_has_twenty_sheets_and_every_principle():
    page = (ROOT / "docs" / "principles.md").read_text(encoding="utf-8")
    section = page[page.index("## Every principle") : page.index("## Some sheets in full")]
    head, _, *rows = [line for line in section.splitlines() if line.startswith("|")]
    assert [cell.strip() for cell in head.strip("|").split("|")] == ["sheet", *principles()]
    assert len(rows) >= 20
    assert all(len(row.strip("|").split("|")) == 1 + len(principles()) for row in rows)


@pytest.mark.long
def test_page_is_as_computed():
    done = subprocess.run(
        [sys.executable, "docs/principles.py", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
