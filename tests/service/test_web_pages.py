"""The guides and the demo: local files under a strict policy; the demo only where it is asked for."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.web.docs import glossary
from sheetmargin_service.web.embed import script
from sheetmargin_service.web.npm_package import manifest
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
    assert "This is not a safety device. Do not use it to protect people." in text


def test_the_page_of_the_selector_has_what_its_manifest_has(api: FlaskClient) -> None:
    text = unescape(api.get("/docs/selector").text)
    for kind in ("attributes", "events", "slots", "cssProperties", "cssParts"):
        for one in manifest()[kind]:
            assert f"<code>{one['name'] or '(without a name)'}</code>" in text
    for member in manifest()["members"]:
        assert re.search(rf"<code>{member['name']}[(<]", text)
    assert "Content-Security-Policy: script-src https://SERVICE; connect-src https://SERVICE" in text
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


def test_nothing_comes_from_elsewhere(demo: FlaskClient) -> None:
    response = demo.get("/demo")
    assert response.status_code == 200
    assert "unsafe" not in response.headers["Content-Security-Policy"]
    assert not re.search(r"<style|<script(?![^>]* src=)| style=| on\w+=", response.text)
    for address in re.findall(r'(?:src|href)="([^"]+)"', response.text):
        assert address.startswith("/"), address
        assert demo.get(address).status_code == 200, address


def test_the_demo_speaks_german(demo: FlaskClient) -> None:
    text = demo.get("/demo", headers={"Accept-Language": "de-AT"}).text
    assert '<html lang="de">' in text
    assert "Warenkorb" in text
