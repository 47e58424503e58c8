"""Answers that print as a report, and what is written as JSON and read from it. Whoever can do it puts itself here;
else an answer prints as any dataclass."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, Self

as_text: list[Callable[[Any], str]] = []
as_html: list[Callable[[Any], str]] = []
as_sections: list[Callable[[Any, tuple[str, ...]], str]] = []

write_json: list[Callable[[object], bytes]] = []
read_json: list[Callable[[type[Any], str | bytes], Any]] = []
make_frame: list[Callable[[Any, str], Any]] = []


class Record:
    """What goes into a file and comes back from it."""

    def to_json(self) -> str:
        """The JSON of the contract; of a question without what is at its default."""
        return write_json[-1](self).decode()

    def to_dict(self) -> dict[str, Any]:
        """The same as Python's own types."""
        document: dict[str, Any] = json.loads(self.to_json())
        return document

    @classmethod
    def from_json(cls, text: str | bytes) -> Self:
        """The record that the JSON of the contract tells; InvalidJob or UnexpectedAnswer where it tells none."""
        record: Self = read_json[-1](cls, text)
        return record


class Shown(Record):
    """An answer that a person reads."""

    def __repr__(self) -> str:
        if as_text:
            return as_text[-1](self)
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in vars(self).items())})"

    def explain(self, *sections: str) -> str:
        """The sections behind the short answer, all of them if none is named: `why`, `numbers`, `mounting`, `trial`,
        `assumptions`, `alternatives`, `ruled-out`, as far as this kind of answer has them."""
        return as_sections[-1](self, sections)

    def _repr_html_(self) -> str | None:
        return as_html[-1](self) if as_html else None
