"""The languages that texts come in."""

from __future__ import annotations

from typing import Literal, get_args

Language = Literal["en", "de"]
LANGUAGES: tuple[Language, ...] = get_args(Language)
