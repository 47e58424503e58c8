"""The docs page: everything of the contract on it, and nothing that a strict policy would stop."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.api.problems import PROBLEM_TYPES
from sheetmargin_service.messages.say import texts


class Page(HTMLParser):
    """Elements of a page, and the anchors that they make."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in ("meta", "link"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def values(self, name: str) -> list[str]:
        return [value for _, attributes in self.elements if (value := attributes.get(name)) is not None]


@pytest.fixture
def page(api: FlaskClient) -> Page:
    return Page(api.get("/docs").text)


def test_the_page_is_whole(page: Page) -> None:
    assert not page.open
    assert len(page.values("id")) == len(set(page.values("id")))


def test_nothing_comes_from_elsewhere_and_nothing_runs(page: Page) -> None:
    tags = {tag for tag, _ in page.elements}
    assert not tags & {"script", "style", "iframe", "img", "object", "form"}
    for attributes in (attributes for _, attributes in page.elements):
        assert not any(name.startswith("on") or name == "style" for name in attributes)
    for link in page.values("href"):
        assert link.startswith(("#", "/")), link


def test_every_link_leads_somewhere(api: FlaskClient, page: Page) -> None:
    ids = set(page.values("id"))
    for link in set(page.values("href")):
        if link.startswith("#"):
            assert link[1:] in ids
        else:
            assert api.get(link).status_code == 200, link


def test_the_policy_lets_the_style_in(api: FlaskClient) -> None:
    response = api.get("/docs")
    assert "style-src 'self'" in response.headers["Content-Security-Policy"]
    style = api.get("/docs/docs.css")
    assert (style.status_code, style.mimetype) == (200, "text/css")
    assert "url(" not in style.text
    assert "@import" not in style.text


def test_every_call_schema_code_and_problem_is_there(api: FlaskClient) -> None:
    text = api.get("/docs").text
    document: dict[str, Any] = api.get("/openapi.json").get_json()
    ids = set(Page(text).values("id"))
    calls = [call for item in document["paths"].values() for name, call in item.items() if name in ("get", "post")]
    assert {f"call-{call['operationId']}" for call in calls} <= ids
    assert {f"schema-{name}" for name in document["components"]["schemas"]} <= ids
    assert all(f"<code>{code}</code>" in text for code in texts())
    assert all(f"/docs/problems/{kind}" in text for kind in PROBLEM_TYPES)


def test_names_are_escaped(api: FlaskClient) -> None:
    response = api.get("/docs/problems/<script>alert(1)</script>")
    assert response.status_code == 404
    assert "<script>" not in response.text


def test_the_page_can_be_cached(api: FlaskClient) -> None:
    first = api.get("/docs")
    assert api.get("/docs", headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
    assert re.fullmatch(r'"[0-9a-f]{32}"', first.headers["ETag"])
