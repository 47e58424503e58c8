"""What is wrong with what somebody gave: where, and what would be right."""

from __future__ import annotations

Path = tuple[str | int, ...]
"""Names and list positions, from the root of what was given."""


class FieldError(ValueError):
    """A catalogue, a table of the library or a setting that cannot be used. The message tells all, `path` the place."""

    def __init__(self, message: str, path: Path = ()) -> None:
        super().__init__(message)
        self.path = path


class QuestionError(ValueError):
    """A sheet, readings or a set-up from which nothing follows.

    `field` is a pointer into the sheet or the question (`layers/3/thickness_um`); `also` are further fields at fault,
    `suggestions` names that do exist.
    """

    def __init__(
        self,
        *,
        code: str,
        field: str,
        detail: str,
        expected: str,
        suggestions: tuple[str, ...] = (),
        also: tuple[str, ...] = (),
    ) -> None:
        super().__init__(detail)
        self.code, self.field, self.detail, self.expected = code, field, detail, expected
        self.suggestions, self.also = suggestions, also

    @property
    def paths(self) -> tuple[Path, ...]:
        """The fields at fault."""
        return tuple(
            tuple(int(part) if part.isdigit() else part for part in field.split("/") if part)
            for field in (self.field, *self.also)
        )
