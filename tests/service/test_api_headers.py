"""Headers of every response."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

URLS = ["/livez", "/v1/version", "/docs", "/docs/problems/internal", "/openapi.json", "/nowhere", "/v1/recommendations"]


@pytest.mark.parametrize("url", URLS)
def test_what_a_browser_must_not_do(api: FlaskClient, url: str) -> None:
    headers = api.get(url).headers
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    # The documentation asks its own search, nothing else is sent anywhere.
    assert policy["form-action"] == ("'self'" if url.startswith("/docs") else "'none'")
    assert not {"script-src", "connect-src"} & set(policy)
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["X-Frame-Options"] == "DENY"
    assert "Server" not in headers
    assert "X-Powered-By" not in headers


def test_a_request_keeps_its_name(api: FlaskClient) -> None:
    assert api.get("/livez", headers={"X-Request-Id": "line-4.quote_7"}).headers["X-Request-Id"] == "line-4.quote_7"


@pytest.mark.parametrize("name", ["", "a b", "x" * 129, "<script>", "ä"])
def test_an_odd_name_is_replaced(api: FlaskClient, name: str) -> None:
    given = api.get("/livez", headers={"X-Request-Id": name}).headers["X-Request-Id"]
    assert given != name
    assert len(given) == 32


def test_each_request_has_its_own_name(api: FlaskClient) -> None:
    assert len({api.get("/livez").headers["X-Request-Id"] for _ in range(10)}) == 10


def test_strict_transport_is_asked_for_by_tls_alone(api: FlaskClient) -> None:
    """RFC 6797, section 7.2."""
    assert "Strict-Transport-Security" not in api.get("/livez").headers
    by_tls = api.get("/livez", base_url="https://localhost")
    assert by_tls.headers["Strict-Transport-Security"] == "max-age=31536000"
