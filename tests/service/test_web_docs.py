"""The documentation: everything of the contract on a page, each page whole, nothing that a strict policy would stop."""

from __future__ import annotations

import re
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sheetmargin_service.api.faults import fault_codes
from sheetmargin_service.api.problems import PROBLEM_TYPES
from sheetmargin_service.messages.say import texts
from sheetmargin_service.web import docs
from support.answers import CountingRecommend

ROOT = Path(__file__).parents[2]
VOID = ("meta", "link", "input")
LONGEST_PAGE = 120_000
"""Characters of a page: the schemas of all calls together have some 400,000."""


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
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def values(self, name: str) -> list[str]:
        return [value for _, attributes in self.elements if (value := attributes.get(name)) is not None]


@pytest.fixture(scope="module")
def site(stand_in: tuple[Flask, CountingRecommend]) -> dict[str, str]:
    """The text of every page by its path."""
    app = stand_in[0]
    with app.test_request_context():
        paths = list(docs.pages())
    return {path: app.test_client().get(path).text for path in paths}


def test_every_page_is_whole_and_every_link_leads_somewhere(api: FlaskClient, site: dict[str, str]) -> None:
    pages = {path: Page(text) for path, text in site.items()}
    others: set[str] = set()
    for path, page in pages.items():
        assert not page.open, path
        ids = page.values("id")
        assert len(ids) == len(set(ids)), path
        assert len(site[path]) < LONGEST_PAGE, path
        # Nothing from elsewhere, nothing that runs, nothing that a strict policy drops.
        assert not {tag for tag, _ in page.elements} & {"script", "style", "iframe", "img", "object"}, path
        for _, attributes in page.elements:
            assert not any(name.startswith("on") or name == "style" for name in attributes), path
        for link in page.values("href"):
            target, _, anchor = link.partition("#")
            assert link.startswith(("/", "#")), link
            if target and target not in pages:
                others.add(target)
            elif anchor:
                assert anchor in pages[target or path].values("id"), link
    assert "/openapi.json" in others
    for link in others:
        assert api.get(link).status_code == 200, link


def test_every_call_schema_code_and_problem_has_its_place(api: FlaskClient, site: dict[str, str]) -> None:
    document: dict[str, Any] = api.get("/openapi.json").get_json()
    calls = [call for item in document["paths"].values() for name, call in item.items() if name in ("get", "post")]
    assert {f"/docs/calls/{call['operationId']}" for call in calls} <= set(site)
    assert all(f'href="/docs/calls/{call["operationId"]}"' in site["/docs"] for call in calls)
    for name, schema in document["components"]["schemas"].items():
        for field in schema.get("properties", ()):
            assert f"<code>{field}</code>" in site[f"/docs/schemas/{name}"]
    assert all(f"<code>{code}</code>" in site["/docs/codes"] for code in (*texts(), *fault_codes()))
    assert all(f"/docs/problems/{kind}" in site["/docs/problems"] for kind in PROBLEM_TYPES)


def test_the_page_in_view_is_marked(site: dict[str, str]) -> None:
    for path in ("/docs", "/docs/selector", "/docs/calls/recommend_for_job"):
        assert re.findall(r'<a href="([^"]+)" aria-current="page">', site[path]) == [path]


@pytest.mark.parametrize(
    ("words", "path"),
    [
        ("publishable-key", "/docs/selector"),
        ("Flutter", "/docs/schemas/LineInput"),
        ("set-up sheet PDF", "/docs/calls/make_setup_sheet_pdf"),
        ("Haltezeit", "/docs/glossary"),
        ("one-looks-like-two", "/docs/codes"),
        ("retry-after", "/docs/problems/too-many-requests"),
    ],
)
def test_search_finds(api: FlaskClient, words: str, path: str) -> None:
    response = api.get("/docs/search", query_string={"q": words})
    found = re.findall(r'<li><a href="([^"]+)">[^<]+</a><p>', response.text)
    assert path in found
    assert 1 <= len(found) <= docs.MOST_FOUND
    assert "<mark>" in response.text


def test_a_title_stands_before_other_places(api: FlaskClient) -> None:
    text = api.get("/docs/search?q=glossary").text
    assert re.findall(r'<li><a href="([^"]+)">', text.partition('class="found"')[2])[0] == "/docs/glossary"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("", "Enter words"),
        ("zzyzx", "No page has all of"),
        ("<script>alert(1)</script>", "&lt;script&gt;"),
        ("(", "page"),
    ],
)
def test_search_for_nothing_or_for_anything(api: FlaskClient, words: str, told: str) -> None:
    response = api.get("/docs/search", query_string={"q": words})
    assert response.status_code == 200
    assert told in response.text
    assert "<script" not in response.text
    assert not Page(response.text).open


def test_what_is_looked_for_has_a_length(api: FlaskClient) -> None:
    assert api.get("/docs/search", query_string={"q": "x" * 81}).status_code == 422


def test_the_policy_lets_the_style_in_and_the_search_out(api: FlaskClient) -> None:
    policy = api.get("/docs").headers["Content-Security-Policy"]
    assert "style-src 'self'" in policy
    assert "form-action 'self'" in policy
    assert "script-src" not in policy
    style = api.get("/docs/docs.css")
    assert (style.status_code, style.mimetype) == (200, "text/css")
    assert "url(" not in style.text
    assert "@import" not in style.text


@pytest.mark.parametrize("folder", ["problems", "calls", "schemas"])
def test_an_unknown_page_is_a_problem(api: FlaskClient, folder: str) -> None:
    response = api.get(f"/docs/{folder}/<script>alert(1)</script>")
    assert response.status_code == 404
    assert "<script>" not in response.text


def test_a_page_can_be_cached(api: FlaskClient) -> None:
    first = api.get("/docs")
    assert api.get("/docs", headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
    assert re.fullmatch(r'"[0-9a-f]{32}"', first.headers["ETag"])


def test_what_moved_results_is_told_as_the_list_of_changes_has_it(api: FlaskClient) -> None:
    version = api.get("/v1/version").get_json()
    page = api.get(version["results"])
    assert page.status_code == 200
    assert version["model_version"] in page.text
    told = unescape(re.sub("<[^>]+>", "", page.text))
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    sections = re.findall(r"### Results\n(.*?)(?=\n##|\Z)", changes, re.DOTALL)
    items = [" ".join(item.replace("`", "").split()) for section in sections for item in section.split("\n- ")[1:]]
    assert len(items) > 5
    assert [item for item in items if item not in told] == []
