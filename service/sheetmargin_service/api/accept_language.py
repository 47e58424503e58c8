"""In which language a request is answered."""

from __future__ import annotations

from flask import request

from sheetmargin_service.messages.languages import LANGUAGES, Language


def asked_language() -> Language:
    """The language that the query asks for, else that of the header: for problems of a query that may be wrong."""
    named = request.args.get("language")
    return next((language for language in LANGUAGES if language == named), None) or wanted_language()


def wanted_language() -> Language:
    """The language that the request's Accept-Language likes best, whatever its region; English where it names none."""
    for tag, quality in request.accept_languages:  # best first
        for language in LANGUAGES:
            if quality > 0 and tag.lower().split("-")[0] == language:
                return language
    return "en"
