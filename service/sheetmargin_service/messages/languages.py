"""The languages that texts come in, and how each writes numbers and counts, by the Unicode CLDR."""

from __future__ import annotations

from functools import cache
from typing import Literal, get_args

from babel import Locale

Language = Literal["en", "de"]
LANGUAGES: tuple[Language, ...] = get_args(Language)


@cache
def number_marks(language: Language) -> dict[int, str]:
    """From the marks of Python's numbers to those of a language."""
    symbols = Locale.parse(language).number_symbols["latn"]
    return str.maketrans({".": symbols["decimal"], ",": symbols["group"]})


@cache
def _locale(language: Language) -> Locale:
    return Locale.parse(language)


def is_one(count: float, language: Language) -> bool:
    """Whether a noun after this count stands in the singular."""
    return _locale(language).plural_form(count) == "one"
