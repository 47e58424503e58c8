"""In which language a request is answered."""

from __future__ import annotations

from flask import request

from sheetmargin_service.messages.languages import LANGUAGES, Language


def wanted_language() -> Language:
    """The language that the request's Accept-Language likes best, whatever its region; English where it names none."""
    for tag, quality in request.accept_languages:  # best first
        for language in LANGUAGES:
            if quality > 0 and tag.lower().split("-")[0] == language:
                return language
    return "en"
