"""What the command says for itself, in the language of its reader."""

from __future__ import annotations

from contextvars import ContextVar

from sheetmargin.report.words import LANGUAGES, Words

language: ContextVar[str] = ContextVar("language", default="en")
"""Of this run: known before the command line is read, whose faults it is for."""


def say(name: str, **places: object) -> str:
    """A text of the command line."""
    return Words(language=language.get())(f"cli.{name}", **places)


def known_language(tag: str | None) -> str:
    """The language of a tag such as `de-AT`; English for any other."""
    start = (tag or "").lower().partition("-")[0]
    return start if start in LANGUAGES else "en"
