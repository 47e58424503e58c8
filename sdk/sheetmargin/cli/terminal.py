"""What the terminal shows: width, bold and colour, letters beyond ASCII."""

from __future__ import annotations

import os
import shutil
import sys

from sheetmargin.report.page import WIDTH, Page

LEAST_WIDTH = 72
"""Tables are not made for less."""


def page() -> Page:
    """For standard output: as wide as the terminal, up to 100 columns; bold only on a terminal without NO_COLOR."""
    terminal = sys.stdout.isatty()
    width = shutil.get_terminal_size((WIDTH, 24)).columns if terminal else WIDTH
    styled = terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return Page(width=min(max(width, LEAST_WIDTH), WIDTH), styled=styled, ascii=not _shows("µ²°"))


def _shows(letters: str) -> bool:
    try:
        letters.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True
