"""Plain text of 100 columns: tables and lists."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

WIDTH = 100


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Rows, the first of them the head, in columns as wide as they need; those numbered in `right` are set right."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = (
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    )
    return "\n".join(line.rstrip() for line in lines)


def bullets(title: str, texts: Iterable[str]) -> str:
    """A titled list; nothing where there is nothing to list."""
    lines = [
        line
        for text in texts
        for line in textwrap.wrap(text, WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    ]
    return "\n".join([title, *lines]) if lines else ""


def shown(value: object) -> str:
    """A number in its shortest form, a text as it is, `-` for what is not known."""
    if value is None:
        return "-"
    return f"{value:g}" if isinstance(value, float) else str(value)


def percent(chance: float) -> str:
    """A chance in whole per cent; never more certain than it is told."""
    whole = round(100.0 * chance)
    return "> 99 %" if whole > 99 else "< 1 %" if whole < 1 else f"{whole} %"


def clipped(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 2].rstrip()}.."
