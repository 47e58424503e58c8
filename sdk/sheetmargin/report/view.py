"""What a report needs to know of its reader: language, page, and what inputs are called where they are entered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from sheetmargin.report.figures import Figures
from sheetmargin.report.page import Page
from sheetmargin.report.words import Words


def field_of(pointer: str) -> str:
    """An input as the Python client names it: `line.speed_m_per_min` for `/line/speed_m_per_min`."""
    return ".".join(part for part in pointer.split("/") if part and not part.isdigit())


@dataclass(frozen=True, kw_only=True)
class View:
    """`name_input` gives an input's name from its JSON pointer; `next_step` the line that asks for a section, empty
    where there are none to ask for."""

    language: str | None = None
    page: Page = field(default_factory=Page)
    name_input: Callable[[str], str] = field_of
    next_step: Callable[[str], str] = lambda _: ""

    @cached_property
    def words(self) -> Words:
        return Words(language=self.language or "en")

    @cached_property
    def figures(self) -> Figures:
        return Figures(words=self.words)

    def reading(self, answer: Any) -> View:
        """The same in the language of the answer, where none was asked for."""
        return self if self.language else replace(self, language=answer.language or "en")

    def joined(self, *blocks: list[str]) -> str:
        """Blocks of lines with a blank line between them; empty ones are left out."""
        return "\n\n".join("\n".join(block) for block in blocks if block)

    def section(self, title: str, lines: list[str]) -> list[str]:
        """Lines below a title; nothing where there are none."""
        return [self.page.strong(self.page.plain(title)), *lines] if lines else []
