"""Words and numbers of the set-up sheet in the language asked for."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from sheetmargin_service.messages.languages import Language
from sheetmargin_service.tables import load_table


@cache
def _table() -> Mapping[str, Mapping[str, str]]:
    return load_table(__package__, "words.toml")


class Words:
    """Texts of one language; `words("gap")`, with the text's places filled by keyword."""

    def __init__(self, language: Language) -> None:
        self.language = language

    def __call__(self, name: str, **places: object) -> str:
        filled = {
            place: self.number(value) if isinstance(value, int | float) else value for place, value in places.items()
        }
        return _table()[name][self.language].format_map(filled)

    def number(self, value: float) -> str:
        """To one decimal, without a trailing zero, the decimal mark of the language and a minus sign proper.

        >>> Words("de").number(-3.62), Words("en").number(30.0), Words("en").number(-0.0)
        ('−3,6', '30', '0')
        """
        text = f"{value:.1f}".removesuffix(".0")
        text = "0" if text == "-0" else text.replace("-", "\N{MINUS SIGN}")
        return text.replace(".", ",") if self.language == "de" else text
