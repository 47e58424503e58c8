"""The page that walks a request through the house names rooms and files that are there, and every room."""

from __future__ import annotations

import re
from pathlib import Path

import sheetmargin
import sheetmargin_service

ROOT = Path(__file__).parents[2]
SERVICE = Path(sheetmargin_service.__file__).parent
CLIENT = Path(sheetmargin.__file__).parent


def rooms() -> set[str]:
    return {folder.name for folder in SERVICE.iterdir() if (folder / "__init__.py").is_file()}


def test_the_page_names_files_that_are_there() -> None:
    page = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([\w/]+\.py)`", page))
    there = {file.relative_to(base).as_posix() for base in (SERVICE, CLIENT) for file in base.rglob("*.py")}
    assert len(named) > 10
    assert not [name for name in named if not any(f"/{path}".endswith(f"/{name}") for path in there)]


def test_page_and_picture_have_every_room_and_no_other() -> None:
    page = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    picture = (ROOT / "docs" / "architecture.svg").read_text(encoding="utf-8")
    assert set(re.findall(r'class="name">(\w+)/<', picture)) == rooms()
    assert rooms() <= set(re.findall(r"\*\*(\w+)/\*\*", page))
