"""What stands on every answer of the service as it is shipped, and what does not."""

from __future__ import annotations

import json

import pytest
from support.description import validator
from support.servers import Server
from support.wire import exchange, post, request

PAGES = ("/docs", "/demo", "/docs/problems/internal")
PATHS = (
    *PAGES,
    "/livez",
    "/readyz",
    "/metrics",
    "/openapi.json",
    "/v1/version",
    "/v1/materials?q=pet",
    "/v1/recommendations?material=copy-paper&grammage_gsm=80&classes=ultrasonic-180k",
    "/v1/setup-sheets?job=nonsense",
    "/embed/v1/selector.js",
    "/nowhere",
    "/v1/recommendations",
)


@pytest.mark.parametrize("path", PATHS)
def test_security_headers(server: Server, path: str) -> None:
    reply = exchange(server.port, request("GET", path))
    assert reply.status in (200, 404, 422)
    policy = dict(part.split(" ", 1) for part in (reply.header("Content-Security-Policy") or "").split("; "))
    # Nothing may be loaded that is not named, nothing framed, no base moved; scripts only of this origin, never inline.
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy.get("script-src", "'none'") in ("'none'", "'self'")
    assert not {"unsafe-inline", "unsafe-eval", "*", "data:", "http:", "https:"} & set(
        " ".join(policy.values()).split()
    )
    assert reply.header("X-Content-Type-Options") == "nosniff"
    assert reply.header("Referrer-Policy") == "no-referrer"
    assert reply.header("X-Frame-Options") == "DENY"
    assert reply.header("Cross-Origin-Opener-Policy") == "same-origin"


@pytest.mark.parametrize("path", PATHS)
def test_nothing_says_what_serves_it(server: Server, path: str) -> None:
    reply = exchange(server.port, request("GET", path))
    for name in ("Server", "X-Powered-By", "Via", "Set-Cookie"):
        assert reply.header(name) is None
    assert not {"gunicorn", "werkzeug", "python/"} & set(reply.head.lower().split())


@pytest.mark.parametrize(
    ("sent", "status", "code"),
    [
        (b"nonsense\r\n\r\n", 400, "not-http"),
        (b"GET / HTTP/9.9\r\n\r\n", 400, "not-http"),
        (request("GET", "/" + "a" * 9000), 414, "too-long"),
        (request("GET", "/", headers="X: " + "a" * 9000 + "\r\n"), 431, "too-long"),
    ],
)
def test_what_is_no_http_is_answered_by_a_problem_without_a_name(
    server: Server, sent: bytes, status: int, code: str
) -> None:
    reply = exchange(server.port, sent)
    assert reply.status == status
    assert reply.header("Content-Type") == "application/problem+json"
    document = json.loads(reply.body)
    validator("Problem").validate(document)
    assert document["errors"][0]["code"] == code
    assert reply.header("Server") is None


def test_answers_to_other_origins_are_not_readable(server: Server) -> None:
    for origin in ("https://evil.example", "null", "http://127.0.0.1"):
        reply = exchange(server.port, post({}, headers=f"Origin: {origin}\r\n"))
        assert reply.header("Access-Control-Allow-Origin") is None
        assert reply.header("Access-Control-Allow-Credentials") is None
