"""The languages that texts come in."""

from __future__ import annotations

from typing import Literal, get_args

from flask import request

Language = Literal["en", "de"]
LANGUAGES: tuple[Language, ...] = get_args(Language)


def wanted_language() -> Language:
    """The language that the request's Accept-Language likes best; English where it names none of ours."""
    best = request.accept_languages.best_match(LANGUAGES)
    return next((language for language in LANGUAGES if language == best), "en")
