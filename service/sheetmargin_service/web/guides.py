"""Short guides for the three who use the service: a shop, a quoting program, a technician."""

from __future__ import annotations

from flask import Response

from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.web.embed import script
from sheetmargin_service.web.pages import HTML, environment, page, policy

routes = Routes("guides", "Where to begin.")


@routes.get("/docs/guides", Call(scope="open", media_type=HTML))
def show_guides() -> Response:
    """Where to begin, for each kind of user."""
    text = environment().get_template("guides.html").render(script=script())
    return page(text, language="en", sources=policy("style-src 'self'"))
