"""The page of principles."""

from __future__ import annotations

from pathlib import Path

from sheetmargin_service.principles import principles

ROOT = Path(__file__).parents[2]


def test_page_has_twenty_sheets_and_every_principle():
    page = (ROOT / "docs" / "principles.md").read_text(encoding="utf-8")
    section = page[page.index("## Every principle") : page.index("## Some sheets in full")]
    head, _, *rows = [line for line in section.splitlines() if line.startswith("|")]
    assert [cell.strip() for cell in head.strip("|").split("|")] == ["sheet", *principles()]
    assert len(rows) >= 20
    assert all(len(row.strip("|").split("|")) == 1 + len(principles()) for row in rows)
