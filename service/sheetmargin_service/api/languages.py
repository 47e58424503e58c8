"""The languages that texts come in."""

from __future__ import annotations

from typing import Literal, get_args

from flask import request

Language = Literal["en", "de"]
LANGUAGES: tuple[Language, ...] = get_args(Language)


def wanted_language() -> Language:
    """The language that the request's Accept-Language likes best, whatever its region; English where it names none."""
    for tag, quality in request.accept_languages:  # best first
        for language in LANGUAGES:
            if quality > 0 and tag.lower().split("-")[0] == language:
                return language
    return "en"
