"""Answers that a cache may keep: their tag is known before they are computed. The service keeps the last ones, too."""

from __future__ import annotations

from collections.abc import Callable

from flask import Flask, Response, current_app, g, request

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.response_cache import Kept, KeptAnswers
from sheetmargin_service.api.service import current_service
from sheetmargin_service.messages.languages import Language

MAX_AGE_S = 300
EXTENSION = "sheetmargin.kept"


def cacheable(
    compute: Callable[[], bytes], *, etag: str, language: Language, keyed: bool, media_type: str = "application/json"
) -> Response:
    """The computed body with its validators, or 304 without computing it where the client holds it already.

    `keyed`: the answer was given to the holder of a key and is not for shared caches. An answer to a POST is for no
    cache and has no validators, since nobody may ask for it by them (RFC 9110, section 13).
    """
    conditional = request.method in ("GET", "HEAD")
    if conditional and request.if_none_match.contains_weak(etag):
        response = Response(status=304)
    else:
        response = Response(compute(), content_type=media_type)
        response.headers["Content-Language"] = language
    if not conditional:
        response.headers["Cache-Control"] = "no-store"
        return response
    response.set_etag(etag)
    response.headers["Cache-Control"] = f"{'private' if keyed else 'public'}, max-age={MAX_AGE_S}"
    response.headers["Vary"] = "Origin, Accept-Language"
    return response


def install_kept_answers(app: Flask) -> None:
    """Let the application keep answers of its own."""
    app.extensions[EXTENSION] = KeptAnswers()


def kept_or(make: Callable[[], Response]) -> Response:
    """The answer to this GET as it was given before, or the made one, which is then kept.

    To be called when it is settled that the caller may have it. `g.kept` tells an answer that was not made.
    """
    answers: KeptAnswers = current_app.extensions[EXTENSION]
    service, question = current_service(), _question()
    kept = answers.get(question, service)
    if kept is not None and not request.if_none_match.contains_weak(kept.etag):
        g.kept = True
        return Response(kept.body, headers=list(kept.headers))
    response = make()
    if response.status_code == 200:
        etag, _is_weak = response.get_etag()
        headers = tuple(response.headers.items())
        answers.put(question, Kept(service=service, body=response.get_data(), headers=headers, etag=etag or ""))
    return response


def _question() -> tuple[str, ...]:
    """All that a view goes by: Accept has been checked, a key has passed. Some pages hold links to their own host."""
    query = request.query_string.decode("latin-1")
    return (request.scheme, request.host, request.root_path, request.path, query, wanted_language())
