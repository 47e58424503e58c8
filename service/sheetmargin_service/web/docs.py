"""The documentation as pages that need no script: calls, schemas, codes, problems, guides, glossary, and a search."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from html import unescape
from typing import Any

from flask import Response, current_app
from markupsafe import Markup, escape
from marshmallow import post_load

from sheetmargin_service.api import openapi
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.faults import fault_codes
from sheetmargin_service.api.headers import SECURITY
from sheetmargin_service.api.problems import PROBLEM_TYPES, Problem
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.strict import StrictSchema, Text
from sheetmargin_service.api.service import current_service
from sheetmargin_service.messages.say import KINDS, texts
from sheetmargin_service.tables import load_table, read_text
from sheetmargin_service.web.embed import script
from sheetmargin_service.web.npm_package import manifest
from sheetmargin_service.web.pages import CSS, HTML, asset, environment

POLICY = SECURITY["Content-Security-Policy"].replace("form-action 'none'", "form-action 'self'") + "; style-src 'self'"
GROUPS = (
    "recommendations",
    "batch",
    "measure",
    "library",
    "setup-sheets",
    "embed",
    "probes",
    "metrics",
    "description",
    "docs",
)
"""Order of the calls, by what they are about; a subject that is not named comes last."""
MOST_FOUND = 20
RESULTS = "results.md"
"""What the list of changes says of results, generated."""
_EXCERPT = 90
_INDEX = "sheetmargin-docs-index"

routes = Routes("docs", "Documentation for readers: guides, calls, and a search.")


@dataclass(frozen=True, kw_only=True)
class Found:
    """A page that has all the words that were looked for."""

    path: str
    title: str
    excerpt: Markup


class SearchQuery(StrictSchema):
    """What to look for."""

    q = Text("Words that a page must have, all of them; upper and lower case are the same.", shortest=0)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> str:
        return str(data.get("q", ""))


@routes.get("/docs", Call(scope="open", media_type=HTML, cached=True))
def show_docs() -> Response:
    """First page of the documentation: guides, and every call."""
    return _page("/docs")


@routes.get("/docs/guides", Call(scope="open", media_type=HTML, cached=True))
def show_guides() -> Response:
    """Guides: where to begin, for each kind of user."""
    return _page("/docs/guides")


@routes.get("/docs/selector", Call(scope="open", media_type=HTML, cached=True))
def show_selector_reference() -> Response:
    """Page of the selector: attributes, events, properties, parts, and what a strict policy must allow."""
    return _page("/docs/selector")


@routes.get("/docs/glossary", Call(scope="open", media_type=HTML, cached=True))
def show_glossary() -> Response:
    """Glossary: what the words mean, in English and in German."""
    return _page("/docs/glossary")


@routes.get("/docs/results", Call(scope="open", media_type=HTML, cached=True))
def show_results() -> Response:
    """What moved results from one version to the next: why another model version answers otherwise."""
    return _page("/docs/results")


@routes.get("/docs/calls/<name>", Call(scope="open", media_type=HTML, cached=True))
def show_call(name: str) -> Response:
    """Page of one call: what it takes and what it answers."""
    return _page(f"/docs/calls/{name}")


@routes.get("/docs/schemas", Call(scope="open", media_type=HTML, cached=True))
def show_schemas() -> Response:
    """Page that lists the schemas of bodies and answers."""
    return _page("/docs/schemas")


@routes.get("/docs/schemas/<name>", Call(scope="open", media_type=HTML, cached=True))
def show_schema(name: str) -> Response:
    """Page of one schema, with its fields."""
    return _page(f"/docs/schemas/{name}")


@routes.get("/docs/codes", Call(scope="open", media_type=HTML, cached=True))
def show_codes() -> Response:
    """Page of the codes of reasons, assumptions, cautions and errors."""
    return _page("/docs/codes")


@routes.get("/docs/problems", Call(scope="open", media_type=HTML, cached=True))
def show_problem_types() -> Response:
    """Page that lists the kinds of problems."""
    return _page("/docs/problems")


@routes.get("/docs/problems/<kind>", Call(scope="open", media_type=HTML, cached=True))
def show_problem_type(kind: str) -> Response:
    """Page of one kind of problem, which a problem's `type` names: what it means."""
    return _page(f"/docs/problems/{kind}")


@routes.get("/docs/search", Call(scope="open", media_type=HTML), query=SearchQuery)
def search_docs(words: str) -> Response:
    """Search of the documentation: the pages that have all the words."""
    text = _rendered("/docs/search", "docs/search.html", words=words, found=search(words), most=MOST_FOUND)
    return _response(text.encode())


@routes.get("/docs/docs.css", Call(scope="open", media_type=CSS, cached=True))
def show_style() -> Response:
    """Style sheet of the documentation's pages."""
    return asset("docs.css", CSS)


def glossary() -> list[dict[str, Any]]:
    """Each term with its names and its meaning in both languages, and the words that are not used for it."""
    terms: list[dict[str, Any]] = load_table("sheetmargin_service.messages", "glossary.toml")["term"]
    return terms


def results() -> dict[str, list[str]]:
    """What moved results, by version of the package."""
    versions = read_text("sheetmargin_service.web", RESULTS).split("## ")[1:]
    parts = (version.partition("\n") for version in versions)
    return {name: [" ".join(item.split()) for item in text.split("\n- ")[1:]] for name, _, text in parts}


def calls() -> dict[str, list[dict[str, Any]]]:
    """The calls of each subject."""
    found: dict[str, list[dict[str, Any]]] = {group: [] for group in GROUPS}
    for path, item in openapi.description()["paths"].items():
        for method, call in item.items():
            if method in ("get", "post"):
                found.setdefault(call["tags"][0], []).append({**call, "method": method.upper(), "path": path})
    return {group: members for group, members in found.items() if members}


def pages() -> dict[str, tuple[str, Mapping[str, Any]]]:
    """The template of each page and what it shows, by its path."""
    schemas = openapi.description()["components"]["schemas"]
    found: dict[str, tuple[str, Mapping[str, Any]]] = {
        "/docs": ("overview", {"calls": calls()}),
        "/docs/guides": ("guides", {"script": script()}),
        "/docs/selector": ("selector", {"script": script(), "element": manifest()}),
        "/docs/glossary": ("glossary", {"terms": glossary()}),
        "/docs/results": ("results", {"versions": results(), "service": current_service()}),
        "/docs/schemas": ("schemas", {"schemas": schemas}),
        "/docs/codes": ("codes", {"kinds": KINDS, "texts": texts(), "fault_codes": fault_codes()}),
        "/docs/problems": ("problems", {"problem_types": PROBLEM_TYPES}),
    }
    every_call = [call for members in calls().values() for call in members]
    found |= {f"/docs/calls/{call['operationId']}": ("call", {"call": call, "schemas": schemas}) for call in every_call}
    found |= {f"/docs/schemas/{name}": ("schema", {"name": name, "schema": schema}) for name, schema in schemas.items()}
    found |= {
        f"/docs/problems/{name}": ("problem", {"name": name, "kind": kind}) for name, kind in PROBLEM_TYPES.items()
    }
    return found


def search(words: str) -> list[Found]:
    """The pages that have all the words: first those that have them in a title, the shortest title first."""
    wanted = words.casefold().split()
    if not wanted:
        return []
    ranked = []
    for path, title, text in _index():
        head, whole = title.casefold(), f"{title} {text}".casefold()
        if all(word in whole for word in wanted):
            in_title = sum(word in head for word in wanted)
            rank = (-in_title, len(title) if in_title else 0, -sum(map(whole.count, wanted)), path)
            ranked.append((rank, Found(path=path, title=title, excerpt=_excerpt(text, wanted))))
    return [found for _, found in sorted(ranked, key=lambda one: one[0])[:MOST_FOUND]]


def _index() -> tuple[tuple[str, str, str], ...]:
    """Path, title and text of every page, as the application first needed it."""
    index: tuple[tuple[str, str, str], ...] = current_app.extensions.setdefault(_INDEX, cache(lambda: tuple(_read())))()
    return index


def _read() -> Iterator[tuple[str, str, str]]:
    for path, (template, values) in pages().items():
        _, _, main = _rendered(path, f"docs/{template}.html", **values).partition('<main id="content" tabindex="-1">')
        heading, _, body = re.sub("<pre.*?</pre>", "", main, flags=re.DOTALL).partition("</h1>")
        yield path, _plain(heading), _plain(body)


def _plain(markup: str) -> str:
    return " ".join(unescape(re.sub("<[^>]+>", " ", markup)).split())


def _excerpt(text: str, wanted: list[str]) -> Markup:
    """Where the first of the words stands, with all of them marked."""
    at = max(text.casefold().find(wanted[0]) - _EXCERPT, 0)
    piece = text[at : at + 2 * _EXCERPT]
    parts = re.split(f"({'|'.join(map(re.escape, wanted))})", piece, flags=re.IGNORECASE)
    return Markup("").join(Markup("<mark>%s</mark>") % part if odd % 2 else part for odd, part in enumerate(parts))


def _marked(text: str | None) -> Markup:
    """The text escaped, with what stands in backticks as code."""
    return Markup(re.sub("`([^`]+)`", r"<code>\1</code>", str(escape(text or ""))))


def _rendered(path: str, template: str, **values: Any) -> str:
    return environment().get_template(template).render(here=path, navigation=calls(), marked=_marked, **values)


def _page(path: str) -> Response:
    found = pages().get(path)
    if found is None:
        raise Problem("not-found", detail="The documentation does not have this page.")
    template, values = found
    body = _rendered(path, f"docs/{template}.html", **values).encode()
    etag = strong_etag(current_service().build, path, hashlib.sha256(body).hexdigest())
    return _response(body, etag)


def _response(body: bytes, etag: str | None = None) -> Response:
    media_type = f"{HTML}; charset=utf-8"
    if etag is None:
        response = Response(
            body, content_type=media_type, headers={"Content-Language": "en", "Cache-Control": "no-store"}
        )
    else:
        response = cacheable(lambda: body, etag=etag, language="en", keyed=False, media_type=media_type)
    response.headers["Content-Security-Policy"] = POLICY
    return response
