"""The guides and the demo: local files under a strict policy; the demo only where it is asked for."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.web.embed import script
from sheetmargin_service.web.guides import glossary
from support.answers import CountingRecommend


@pytest.fixture(scope="module")
def demo() -> FlaskClient:
    settings = Settings(demo=True)
    return create_app(settings, service=replace(load_service(settings), recommend=CountingRecommend())).test_client()


def test_the_demo_is_off_unless_set(api: FlaskClient) -> None:
    for path in ("/demo", "/demo/shop.css", "/demo/shop.js"):
        assert api.get(path).status_code == 404


def test_the_guides_are_for_three(api: FlaskClient) -> None:
    text = api.get("/docs/guides").text
    assert re.findall(r'<h2 id="(\w+)">', text) == ["shop", "quoting", "technician"]
    assert "no safety device" in text
    assert script().integrity in text
    assert f"/embed/selector-{script().digest}.js" in text


def test_the_glossary_has_every_term_in_both_languages(api: FlaskClient) -> None:
    text = unescape(api.get("/docs/glossary").text)
    for term in glossary():
        assert set(term) == {"name", "means", "avoid"}
        for words in (term["name"], term["means"]):
            assert set(words) == {"en", "de"}
            assert all(word in text for word in words.values())
    names = [term["name"]["en"] for term in glossary()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("path", ["/demo", "/docs/guides", "/docs/glossary"])
def test_nothing_comes_from_elsewhere(demo: FlaskClient, path: str) -> None:
    response = demo.get(path)
    assert response.status_code == 200
    assert "unsafe" not in response.headers["Content-Security-Policy"]
    assert not re.search(r"<style|<script(?![^>]* src=)| style=| on\w+=", response.text)
    shown = re.sub(r"<pre>.*?</pre>", "", response.text, flags=re.DOTALL)
    for address in re.findall(r'(?:src|href)="([^"]+)"', shown):
        assert address.startswith("/"), address
        assert demo.get(address.partition("#")[0]).status_code == 200, address


def test_the_demo_speaks_german(demo: FlaskClient) -> None:
    text = demo.get("/demo", headers={"Accept-Language": "de-AT"}).text
    assert '<html lang="de">' in text
    assert "Warenkorb" in text
