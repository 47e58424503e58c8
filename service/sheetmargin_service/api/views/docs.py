"""The API's description, for machines and as a page that needs no script and nothing from elsewhere."""

from __future__ import annotations

import hashlib
import re
from importlib import resources

from flask import Response, render_template
from markupsafe import Markup, escape

from sheetmargin_service.api import openapi
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.faults import fault_codes
from sheetmargin_service.api.headers import SECURITY
from sheetmargin_service.api.problems import PROBLEM_TYPES, Problem
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.service import current_service
from sheetmargin_service.detectors.schema import shipped_schema
from sheetmargin_service.messages.say import KINDS, texts

HTML = "text/html"
CSS = "text/css"
SCHEMA = "application/schema+json"
CONTENT_SECURITY_POLICY = SECURITY["Content-Security-Policy"] + "; style-src 'self'"

routes = Routes("docs", "Description of the API, for machines and readers.")


@routes.get("/openapi.json", Call(scope="open", cached=True))
def show_openapi() -> Response:
    """OpenAPI 3.1 description of every call."""
    return _cached(json_bytes(openapi.description()), JSON)


@routes.get("/schemas/catalogue.json", Call(scope="open", media_type=SCHEMA, cached=True))
def show_catalogue_schema() -> Response:
    """JSON Schema of a catalogue file, which `SHEETMARGIN_CATALOGUE` names."""
    return _cached(shipped_schema(), SCHEMA)


@routes.get("/docs", Call(scope="open", media_type=HTML, cached=True))
def show_docs() -> Response:
    """Page with every call, schema, code and kind of problem."""
    page = render_template(
        "docs.html",
        document=openapi.description(),
        kinds=KINDS,
        texts=texts(),
        problem_types=PROBLEM_TYPES,
        fault_codes=fault_codes(),
        marked=_marked,
    )
    return _page(page)


@routes.get("/docs/problems/<kind>", Call(scope="open", media_type=HTML, cached=True))
def show_problem_type(kind: str) -> Response:
    """Page on one kind of problem, which the `type` of a problem names."""
    if kind not in PROBLEM_TYPES:
        raise Problem("not-found", detail="There is no such kind of problem.")
    return _page(render_template("problem.html", name=kind, kind=PROBLEM_TYPES[kind], marked=_marked))


@routes.get("/docs/docs.css", Call(scope="open", media_type=CSS, cached=True))
def show_style() -> Response:
    """Style sheet of the pages for readers."""
    style = resources.files("sheetmargin_service.api") / "static" / "docs.css"
    return _cached(style.read_bytes(), CSS)


def _marked(text: str | None) -> Markup:
    """The text escaped, with what stands in backticks as code."""
    return Markup(re.sub("`([^`]+)`", r"<code>\1</code>", str(escape(text or ""))))


def _page(page: str) -> Response:
    response = _cached(page.encode(), HTML)
    response.headers["Content-Security-Policy"] = CONTENT_SECURITY_POLICY
    return response


def _cached(body: bytes, media_type: str) -> Response:
    content_type = media_type if media_type in (JSON, SCHEMA) else f"{media_type}; charset=utf-8"
    etag = strong_etag(current_service().build, content_type, hashlib.sha256(body).hexdigest())
    return cacheable(lambda: body, etag=etag, language="en", keyed=False, media_type=content_type)
