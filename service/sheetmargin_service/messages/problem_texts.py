"""What a problem says, in the language of the request. The English stands where the problem is raised."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from sheetmargin_service.errors import Filled
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.tables import load_table


def in_language(text: str, language: Language) -> str:
    """An English text of a problem in another language, with the same values; as it is where it has no other."""
    if language == "en":
        return text
    template = text.template if isinstance(text, Filled) else text
    german = german_texts().get(template) or _by_parts(template)
    return text.again(german, language) if isinstance(text, Filled) else german


@cache
def german_texts() -> Mapping[str, str]:
    """Every text, title and meaning, by its English."""
    table = load_table(__package__, "problems.toml")
    return {**table["titles"], **table["meanings"], **table["texts"]}


def _by_parts(template: str) -> str:
    """Bounds of a number, put together from a few parts; any other text as it is."""
    parts = load_table(__package__, "problems.toml")["parts"]
    if not template.startswith(("a number", "a whole number")):
        return template
    for english, german in parts.items():
        template = template.replace(english, german)
    return template
