"""Answers that a cache may keep: their tag is known before they are computed."""

from __future__ import annotations

from collections.abc import Callable

from flask import Response, request

from sheetmargin_service.api.languages import Language

MAX_AGE_S = 300


def cacheable(
    compute: Callable[[], bytes], *, etag: str, language: Language, keyed: bool, media_type: str = "application/json"
) -> Response:
    """The computed body with its validators, or 304 without computing it where the client holds it already.

    `keyed`: the answer was given to the holder of a key and is not for shared caches. A POST carries the tag as the
    name of its question, but is no conditional request.
    """
    conditional = request.method in ("GET", "HEAD")
    if conditional and request.if_none_match.contains_weak(etag):
        response = Response(status=304)
    else:
        response = Response(compute(), content_type=media_type)
        response.headers["Content-Language"] = language
    response.set_etag(etag)
    response.headers["Cache-Control"] = f"{'private' if keyed else 'public'}, max-age={MAX_AGE_S}"
    response.headers["Vary"] = "Origin, Accept-Language"
    return response
