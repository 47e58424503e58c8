"""Short guides for the three who use the service (a shop, a quoting program, a technician), and the glossary."""

from __future__ import annotations

from typing import Any

from flask import Response

from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.tables import load_table
from sheetmargin_service.web.embed import script
from sheetmargin_service.web.pages import HTML, environment, page, policy

routes = Routes("guides", "Guides for each kind of user, and the glossary.")


@routes.get("/docs/guides", Call(scope="open", media_type=HTML))
def show_guides() -> Response:
    """Guides: where to begin, for each kind of user."""
    return _page("guides.html", script=script())


@routes.get("/docs/glossary", Call(scope="open", media_type=HTML))
def show_glossary() -> Response:
    """Glossary: what the words mean, in English and in German."""
    return _page("glossary.html", terms=glossary())


def glossary() -> list[dict[str, Any]]:
    """Each term with its names and its meaning in both languages, and the words that are not used for it."""
    terms: list[dict[str, Any]] = load_table("sheetmargin_service.messages", "glossary.toml")["term"]
    return terms


def _page(template: str, **values: Any) -> Response:
    text = environment().get_template(template).render(**values)
    return page(text, language="en", sources=policy("style-src 'self'"))
