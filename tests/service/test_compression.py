"""Texts for browsers go out compressed to who takes it, and are held by tags of their own."""

from __future__ import annotations

import gzip

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.web import embed

GZIP = {"Accept-Encoding": "br, gzip;q=0.8"}


@pytest.mark.parametrize("path", ["/embed/v1/selector.js", "/assets/setup-sheet.css", "/docs/glossary"])
def test_a_text_is_compressed_for_who_takes_it(api: FlaskClient, path: str) -> None:
    plain, packed = api.get(path), api.get(path, headers=GZIP)
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data
    assert len(packed.data) < len(plain.data) / 2
    for response in (plain, packed):
        assert "Accept-Encoding" in response.headers["Vary"]


def test_the_selector_crosses_the_line_in_its_budget(api: FlaskClient) -> None:
    sent = api.get("/embed/v1/selector.js", headers=GZIP)
    assert int(sent.headers["Content-Length"]) == len(sent.data) < 30_000
    assert gzip.decompress(sent.data) == embed.script().body


def test_each_form_is_held_by_its_own_tag(api: FlaskClient) -> None:
    path = "/embed/v1/selector.js"
    plain, packed = api.get(path).headers["ETag"], api.get(path, headers=GZIP).headers["ETag"]
    assert plain != packed
    held = api.get(path, headers={**GZIP, "If-None-Match": packed})
    assert (held.status_code, held.data) == (304, b"")
    assert held.headers["ETag"] == packed
    other = api.get(path, headers={"If-None-Match": packed})
    assert (other.status_code, other.data) == (200, embed.script().body)


@pytest.mark.parametrize("encodings", ["identity", "gzip;q=0", "br"])
def test_who_does_not_take_it_gets_the_text(api: FlaskClient, encodings: str) -> None:
    response = api.get("/embed/v1/selector.js", headers={"Accept-Encoding": encodings})
    assert response.data == embed.script().body
