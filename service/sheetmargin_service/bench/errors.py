"""What is wrong with a question to the bench: where, and what would be right."""

from __future__ import annotations


class BenchError(ValueError):
    """Readings or a set-up from which nothing follows.

    `field` is a pointer into the question (`readings/3/level_pct`); `also` are further fields at fault, `suggestions`
    names that do exist.
    """

    def __init__(
        self,
        *,
        code: str,
        field: str,
        detail: str,
        expected: str,
        also: tuple[str, ...] = (),
        suggestions: tuple[str, ...] = (),
    ) -> None:
        super().__init__(detail)
        self.code, self.field, self.detail, self.expected = code, field, detail, expected
        self.also, self.suggestions = also, suggestions
