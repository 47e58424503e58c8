"""Which pages on other origins may read answers: those of the listed origins, and only what a visitor may ask.

Cross-origin resource sharing (WHATWG Fetch, section 3.2). Nothing is sent with cookies, so credentials are
never allowed.
"""

from __future__ import annotations

from collections.abc import Collection

from flask import Flask, Response, request

from sheetmargin_service.api.routes import calls_of

SCOPES = ("open", "recommend")
"""Calls that pages of other origins may read; batches, bench and metrics are for servers."""

PREFLIGHT_S = 7200  # the longest that Chromium keeps a preflight
_PREFLIGHT = {
    "Access-Control-Allow-Methods": "GET, POST",
    "Access-Control-Allow-Headers": "Accept, Accept-Language, Authorization, Content-Type",
    "Access-Control-Max-Age": str(PREFLIGHT_S),
}
_READABLE = "ETag, RateLimit, RateLimit-Policy, Retry-After, X-Request-Id"


def install_cors(app: Flask, origins: Collection[str]) -> None:
    """Let pages of the origins read answers. Other pages get the same answers, and their browser keeps them back."""
    calls = calls_of(app)

    def allow(response: Response) -> Response:
        call = calls.get(request.endpoint or "")
        if call is None or call.scope not in SCOPES or "Access-Control-Allow-Origin" in response.headers:
            return response
        response.vary.add("Origin")
        origin = request.headers.get("Origin")
        if origin not in origins:
            return response
        response.headers["Access-Control-Allow-Origin"] = origin
        if request.method == "OPTIONS":
            response.headers.update(_PREFLIGHT)
        else:
            response.headers["Access-Control-Expose-Headers"] = _READABLE
        return response

    app.after_request(allow)
