"""An invented shop that embeds the selector, to look at while developing."""

from __future__ import annotations

from flask import Response

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.web.pages import CSS, HTML, JAVASCRIPT, asset, environment, page, policy

routes = Routes("demo", "An invented shop for development.")

POLICY = policy("script-src 'self'", "style-src 'self'", "connect-src 'self'")


@routes.get("/demo", Call(scope="open", media_type=HTML))
def show_demo() -> Response:
    """The shop: the selector in a page of its own look, and a cart."""
    language = wanted_language()
    return page(environment().get_template("demo.html").render(language=language), language=language, sources=POLICY)


@routes.get("/demo/shop.css", Call(scope="open", media_type=CSS, cached=True))
def show_demo_style() -> Response:
    """The shop's own look, and how it dresses the selector."""
    return asset("demo.css", CSS)


@routes.get("/demo/shop.js", Call(scope="open", media_type=JAVASCRIPT, cached=True))
def show_demo_script() -> Response:
    """The shop's cart."""
    return asset("demo.js", JAVASCRIPT)
