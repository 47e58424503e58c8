"""Texts that are the same for everybody (scripts, styles, pages) go out compressed to who takes it (RFC 9110, 8.4).

Answers in JSON do not: they are many, each is computed for one question, and a proxy in front compresses them without a
worker's time (`docker/nginx.conf`).
"""

from __future__ import annotations

import gzip
from functools import lru_cache

from flask import Flask, Response, request

MEDIA_TYPES = ("text/html", "text/css", "text/javascript", "image/svg+xml")
LEAST_BYTES = 1024  # what fits a packet or two gains nothing


def install_compression(app: Flask) -> None:
    """Compress what is worth it. A compressed text has a tag of its own, since a strong tag names the bytes."""

    def compress(response: Response) -> Response:
        if response.mimetype not in MEDIA_TYPES or response.status_code != 200 or response.is_streamed:
            return response
        response.vary.add("Accept-Encoding")
        body = response.get_data()
        if len(body) < LEAST_BYTES or not request.accept_encodings["gzip"]:
            return response
        etag, _ = response.get_etag()
        if etag is not None:
            response.set_etag(f"{etag}-gzip")
            if request.if_none_match.contains_weak(f"{etag}-gzip"):
                response.status_code = 304
                response.set_data(b"")
                return response
        response.set_data(_compressed(body))
        response.headers["Content-Encoding"] = "gzip"
        return response

    app.after_request(compress)


@lru_cache(maxsize=32)
def _compressed(body: bytes) -> bytes:
    return gzip.compress(body, 9, mtime=0)
