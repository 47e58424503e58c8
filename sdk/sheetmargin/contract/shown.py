"""Answers that print as a report. Whoever can write one puts its writers here; else they print as any dataclass."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

as_text: list[Callable[[Any], str]] = []
as_html: list[Callable[[Any], str]] = []


class Shown:
    """An answer that a person reads."""

    def __repr__(self) -> str:
        if as_text:
            return as_text[-1](self)
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in vars(self).items())})"

    def _repr_html_(self) -> str | None:
        return as_html[-1](self) if as_html else None
