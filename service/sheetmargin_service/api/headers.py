"""Headers of every response: the request's name, and what a browser must not do with it."""

from __future__ import annotations

import re
import uuid

from flask import Flask, Response, g, request

REQUEST_ID = "X-Request-Id"
_SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,128}", re.ASCII)

SECURITY = {
    "Content-Security-Policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
"""A response of a page brings its own, wider Content-Security-Policy."""


def install_headers(app: Flask) -> None:
    """Name every request, as its caller does where that is sane, and put the headers on every response."""

    def name_request() -> None:
        given = request.headers.get(REQUEST_ID, "")
        g.request_id = given if _SANE_ID.fullmatch(given) else uuid.uuid4().hex

    def add_headers(response: Response) -> Response:
        response.headers[REQUEST_ID] = g.request_id
        for name, value in SECURITY.items():
            response.headers.setdefault(name, value)
        if request.is_secure:
            response.headers["Strict-Transport-Security"] = "max-age=31536000"  # RFC 6797: by TLS alone
        return response

    app.before_request(name_request)
    app.after_request(add_headers)
