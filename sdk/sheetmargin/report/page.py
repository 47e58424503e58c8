"""Lines of a page: wrapped texts, tables and labels, with or without letters beyond ASCII and a terminal's bold."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

WIDTH = 100
LABEL = 15
"""Columns of the labels at the left."""
QUANTITY = re.compile(r"(\d) (%|°C|g/m²|g/m2|[cmµu]m|dB|fF|[mk]?Hz|ms|m/min)(?![\w/])")
TIED = "\N{NO-BREAK SPACE}"
"""A blank at which no line ends."""
ASCII = {
    "µ": "u", "²": "2", "³": "3", "±": "+/-", "×": "x", "°C": "C", "°": " deg", "Ω": "Ohm", "−": "-", "–": "-",
    "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "é": "e",
}  # fmt: skip
COLOURS = {"suitable": "32", "trial-needed": "33", "unsuitable": "31"}
"""Of the verdict on a terminal (ECMA-48, SGR): green, yellow, red."""


@dataclass(frozen=True, kw_only=True)
class Page:
    """How wide it is, and what it can show."""

    width: int = WIDTH
    styled: bool = False
    ascii: bool = False

    def plain(self, text: str) -> str:
        """The text in the letters that the page can show."""
        if not self.ascii:
            return text
        text = text.replace(TIED, " ")
        for letter, written in ASCII.items():
            text = text.replace(letter, written)
        return text.encode("ascii", "replace").decode()

    def strong(self, text: str) -> str:
        return f"\x1b[1m{text}\x1b[0m" if self.styled else text

    def verdict(self, text: str, verdict: str) -> str:
        return f"\x1b[1;{COLOURS.get(verdict, '39')}m{text}\x1b[0m" if self.styled else text

    def wrap(self, text: str, *, first: str = "", rest: str | None = None) -> list[str]:
        """Lines of a text; the second and those after it begin with `rest`."""
        rest = " " * len(first) if rest is None else rest
        return self._lines(text, self.width, first, rest)

    def _lines(self, text: str, width: int, first: str = "", rest: str = "") -> list[str]:
        """No line ends between a number and its unit."""
        text = QUANTITY.sub(f"\\1{TIED}\\2", self.plain(text))
        lines = textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
        return [line.replace(TIED, " ") for line in lines]

    def labelled(self, label: str, text: str, *, indent: int) -> list[str]:
        """A label, and the text beside it."""
        label = self.plain(label)
        lines = self.wrap(text, first=" " * max(indent, len(label) + 2))
        lines = lines or [""]
        return [(self.strong(label) + lines[0][len(label) :]).rstrip(), *lines[1:]]

    def bullets(self, texts: Iterable[str]) -> list[str]:
        return [line for text in texts for line in self.wrap(text, first="- ")]

    def numbered(self, texts: Iterable[str]) -> list[str]:
        return [line for number, text in enumerate(texts, 1) for line in self.wrap(text, first=f"{number}  ")]

    def table(
        self, rows: Sequence[Sequence[str]], *, right: Sequence[int] = (), head: bool = False, labels: bool = False
    ) -> list[str]:
        """Rows in columns as wide as they need; those numbered in `right` are set right. The last one is wrapped where
        the page ends. `head`: the first row names the columns; `labels`: the first column names the rows."""
        rows = [[self.plain(cell) for cell in row] for row in rows]
        widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]) if rows else 0)]
        if labels:
            widths[:1] = [max(width, LABEL - 2) for width in widths[:1]]
        lines: list[str] = []
        for number, row in enumerate(rows):
            start = "".join(
                (cell.rjust(width) if column in right else cell.ljust(width)) + "  "
                for column, (cell, width) in enumerate(zip(row[:-1], widths, strict=False))
            )
            last = row[-1].rjust(widths[-1]) if len(row) - 1 in right else row[-1]
            room = max(self.width - len(start), 12)
            indent = len(last) - len(last.lstrip())
            first, *more = self._lines(last.lstrip(), room - indent) or [""]
            line = (start + " " * indent + first).rstrip()
            if head and number == 0:
                line = self.strong(line)
            elif labels and row[0]:
                line = self.strong(row[0]) + line[len(row[0]) :]
            lines += [line, *(" " * len(start) + text for text in more)]
        return lines


def clipped(text: str, width: int) -> str:
    """A name in so many letters; what stands behind its last comma, a size say, is kept."""
    if len(text) <= width:
        return text
    name, comma, size = text.rpartition(", ")
    if name and len(size) < width // 2:
        return f"{name[: width - len(size) - 4].rstrip()}..{comma}{size}"
    return f"{text[: width - 2].rstrip()}.."
