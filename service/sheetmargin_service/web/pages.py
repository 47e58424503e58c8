"""Pages and their style and script: local files under a strict Content-Security-Policy."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources
from typing import Final

from flask import Response
from jinja2 import Environment, PackageLoader, StrictUndefined

from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.headers import SECURITY
from sheetmargin_service.api.service import current_service
from sheetmargin_service.messages.languages import Language

HTML: Final = "text/html"
CSS: Final = "text/css"
JAVASCRIPT: Final = "text/javascript"


@cache
def environment() -> Environment:
    """Templates of this package; a name that a template misses is an error."""
    return Environment(
        loader=PackageLoader(__package__),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )


def static(name: str) -> str:
    """Text of a static file of this package."""
    return (resources.files(__package__) / "static" / name).read_text(encoding="utf-8")


def asset(name: str, media_type: str) -> Response:
    """A static file."""
    body = static(name).encode()
    etag = strong_etag(current_service().build, name, hashlib.sha256(body).hexdigest())
    return cacheable(lambda: body, etag=etag, language="en", keyed=False, media_type=f"{media_type}; charset=utf-8")


def policy(*sources: str) -> str:
    """The Content-Security-Policy of every response with these directives beside it."""
    return "; ".join((SECURITY["Content-Security-Policy"], *sources))


def page(text: str, *, language: Language, sources: str) -> Response:
    """An HTML page that no cache keeps."""
    response = Response(text, content_type=f"{HTML}; charset=utf-8")
    response.headers["Content-Language"] = language
    response.headers["Content-Security-Policy"] = sources
    response.headers["Cache-Control"] = "no-store"
    return response
