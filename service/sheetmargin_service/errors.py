"""What is wrong with what somebody gave: where, and what would be right."""

from __future__ import annotations

from collections.abc import Mapping
from string import Formatter
from typing import Any

Path = tuple[str | int, ...]
"""Names and list positions, from the root of what was given."""


class Filled(str):
    """An English text filled with values, which may be filled in again in another language.

    A value may be a name by language. Numbers are written by the format that their place asks for.
    """

    template: str
    values: Mapping[str, Any]

    def __new__(cls, template: str, **values: Any) -> Filled:
        text = super().__new__(cls, _InLanguage("en").vformat(template, (), values))
        text.template, text.values = template, values
        return text

    def again(self, template: str, language: str) -> str:
        """The same values in another template."""
        return _InLanguage(language).vformat(template, (), self.values)


class _InLanguage(Formatter):
    def __init__(self, language: str) -> None:
        self.language = language

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, Mapping):
            return str(value[self.language])
        text = format(value, format_spec)
        return text.replace(".", ",") if isinstance(value, float) and self.language == "de" else text


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
