"""Whole answers sent again, before Flask is troubled: to a question word for word as it was asked before.

Only for services at which each caller may ask anything as often as it likes; keys, rates and spans need the whole way.
Such a request is logged and counted as any other.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, g, request
from werkzeug.wsgi import ClosingIterator

from sheetmargin_service.api.headers import REQUEST_ID, name_of_request
from sheetmargin_service.api.kept import Kept, KeptAnswers
from sheetmargin_service.api.service import current_service
from sheetmargin_service.config import Settings
from sheetmargin_service.serving.logs import log_request, name_fields, route_of_request
from sheetmargin_service.serving.metrics import Metrics
from sheetmargin_service.serving.trace import trace_of

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

_ASKED = (
    *("wsgi.url_scheme", "HTTP_HOST", "SCRIPT_NAME", "PATH_INFO", "QUERY_STRING"),
    *("HTTP_ACCEPT", "HTTP_ACCEPT_LANGUAGE"),
)
_LONG_WAY = frozenset({"HTTP_IF_NONE_MATCH", "HTTP_ORIGIN", "HTTP_AUTHORIZATION"})
"""Headers that change an answer or who may have it, and are rare where this serves."""


@dataclass(frozen=True, kw_only=True)
class Ready(Kept):
    """An answer with all its headers but the name of the request."""

    route: str


def install_shortcut(app: Flask, settings: Settings, metrics: Metrics, *, keyed: bool) -> None:
    """Keep whole answers in front of the application, where its settings allow it."""
    if keyed or settings.rate_per_address or settings.rate_per_key or settings.telemetry:
        return
    shortcut = Shortcut(app, metrics)
    app.after_request(shortcut.keep)
    app.wsgi_app = shortcut  # type: ignore[method-assign]


class Shortcut:
    """The application behind the answers that it gave last."""

    def __init__(self, app: Flask, metrics: Metrics) -> None:
        self.app, self.metrics = app, metrics
        self.whole_way: WSGIApplication = app.wsgi_app
        self.answers = KeptAnswers[Ready]()

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        question = _question(environ)
        ready = self.answers.get(question, self.app.extensions["sheetmargin"]) if question else None
        if ready is None:
            return self.whole_way(environ, start_response)
        begun = time.perf_counter()
        request_id = name_of_request(environ.get("HTTP_X_REQUEST_ID", ""))
        trace = trace_of(environ.get("HTTP_TRACEPARENT"))

        def report() -> None:
            seconds = time.perf_counter() - begun
            about = {"method": "GET", "path": environ["PATH_INFO"], "route": ready.route, "status": 200}
            log_request(name_fields(request_id, trace) | about, seconds=seconds)
            self.metrics.count_request(ready.route, "GET", 200, seconds=seconds)
            self.metrics.cache.labels("kept").inc()

        start_response("200 OK", [*ready.headers, (REQUEST_ID, request_id)])
        return ClosingIterator([ready.body], [report])

    def keep(self, response: Response) -> Response:
        """Called last of all when the application has answered."""
        question = _question(request.environ)
        if question and "keepable" in g:
            ready = Ready(
                service=current_service(),
                body=response.get_data(),
                headers=tuple((name, text) for name, text in response.headers if name != REQUEST_ID),
                etag=response.get_etag()[0] or "",
                route=route_of_request(),
            )
            self.answers.put(question, ready)
        return response


def _question(environ: dict[str, Any]) -> tuple[str, ...]:
    """All that the answer to a GET goes by; empty for other requests."""
    if environ["REQUEST_METHOD"] != "GET" or not _LONG_WAY.isdisjoint(environ):
        return ()
    return tuple([environ.get(name, "") for name in _ASKED])
