"""Bodies that break off or are no HTTP: gunicorn finds out only when the application reads them."""

from __future__ import annotations

from flask import Flask, Response
from gunicorn.http.errors import ParseException

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem, problem_response


def install_broken_bodies(app: Flask) -> None:
    """Answer such a body with a problem of the caller's."""

    def refuse(error: ParseException) -> Response:
        fault = Fault(code="broken-body", detail="The body's transfer coding is broken.", header="Transfer-Encoding")
        return problem_response(Problem("bad-syntax", fault))

    app.register_error_handler(ParseException, refuse)
