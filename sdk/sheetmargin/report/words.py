"""The words of a report beside the service's own texts, in English and German."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

LANGUAGES = ("en", "de")


@cache
def _table() -> Mapping[str, Mapping[str, str]]:
    return tomllib.loads(resources.files(__package__).joinpath("words.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True, kw_only=True)
class Words:
    """Texts of one language: `words("gap")`, with the text's places filled by keyword."""

    language: str = "en"

    def __call__(self, name: str, **places: object) -> str:
        told = _table()[name]
        return told.get(self.language, told["en"]).format_map(places)

    def of(self, group: str, name: str) -> str:
        """The word for a value, `verdict.suitable` say; the value itself where a later service has a new one."""
        return self(f"{group}.{name}") if f"{group}.{name}" in _table() else name.replace("_", " ")

    def counted(self, name: str, count: int, **places: object) -> str:
        """A text in the singular for 1, else in the plural (the rule of both languages for whole numbers)."""
        return self(f"{name}.{'one' if count == 1 else 'other'}", count=count, **places)
