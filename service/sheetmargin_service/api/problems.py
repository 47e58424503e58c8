"""Errors as RFC 9457 problems: the kinds, the exception, and what becomes of everything else that is raised."""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from flask import Flask, Response, g, render_template, request
from werkzeug.exceptions import HTTPException

from sheetmargin_service.api.accept_language import asked_language
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.faults import Fault, faults_of, json_pointer
from sheetmargin_service.api.headers import SECURITY
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.messages.problem_texts import in_language

MEDIA_TYPE = "application/problem+json"
MAX_FAULTS = 100
"""Faults told in one problem; a job wrong in more places is wrong in one way."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True)
class ProblemType:
    """A kind of problem. Its `type` is a path of this service, where it is described."""

    status: int
    title: str
    meaning: str


PROBLEM_TYPES: Mapping[str, ProblemType] = {
    "unknown-host": ProblemType(
        status=400,
        title="The service is not asked under this name",
        meaning="The header `Host` is malformed, or not among the names that the service was told (SHEETMARGIN_HOSTS).",
    ),
    "bad-syntax": ProblemType(
        status=400,
        title="The body cannot be read",
        meaning="The body is not UTF-8 JSON, names a key twice, holds NaN or is nested too deeply. Each error gives "
        "the line and column or the pointer.",
    ),
    "unauthorized": ProblemType(
        status=401,
        title="A key is needed",
        meaning="This service asks for a key, and the request has none or an unknown one. Send "
        "`Authorization: Bearer <key>`.",
    ),
    "forbidden": ProblemType(
        status=403,
        title="The key does not allow this call",
        meaning="The key is known, but it was made for other calls; the error names the scope that is missing.",
    ),
    "not-found": ProblemType(
        status=404, title="Nothing found", meaning="No call has this path; /openapi.json lists them all."
    ),
    "method-not-allowed": ProblemType(
        status=405,
        title="The path does not have this method",
        meaning="The header `Allow` names the methods that it has.",
    ),
    "not-acceptable": ProblemType(
        status=406,
        title="No media type in common",
        meaning="The header `Accept` rules out the media type that this call answers in.",
    ),
    "too-large": ProblemType(
        status=413, title="The body is too large", meaning="The error names the largest body that this call reads."
    ),
    "unsupported-media-type": ProblemType(
        status=415,
        title="The media type of the body is not supported",
        meaning="Send `Content-Type: application/json` (to the batch also `application/x-ndjson`) and no content "
        "encoding.",
    ),
    "invalid-values": ProblemType(
        status=422,
        title="Check your input",
        meaning="The body or the query can be read, but something in it is missing, unknown, out of range or "
        "contradicts something else. Each error says where and what would be right.",
    ),
    "too-many-requests": ProblemType(
        status=429,
        title="Too many requests",
        meaning="This caller has sent more requests than the service allows; `Retry-After` says when to try again.",
    ),
    "internal": ProblemType(
        status=500,
        title="The service failed",
        meaning="A fault of the service, not of the request. Report it with its `request_id`.",
    ),
    "unavailable": ProblemType(
        status=503,
        title="The service is not ready",
        meaning="Its self-check failed, it is overloaded, or the job took too long; `Retry-After` says when to try "
        "again.",
    ),
}

_BY_STATUS = {kind.status: name for name, kind in PROBLEM_TYPES.items()}


class Problem(Exception):  # noqa: N818 - the word of RFC 9457
    """Raised anywhere in api/ to end a request with a problem.

    `in_query` says that faults' paths are places in a job that came as query parameters.
    """

    def __init__(
        self,
        kind: str,
        *faults: Fault,
        detail: str | None = None,
        in_query: bool = False,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail or kind)
        self.kind, self.faults, self.detail = kind, faults, detail
        self.in_query, self.headers = in_query, headers or {}

    def document(self, *, request_id: str | None = None, language: Language = "en") -> dict[str, Any]:
        """The problem as RFC 9457 has it, in a language."""
        kind = PROBLEM_TYPES[self.kind]
        document: dict[str, Any] = {
            "type": f"/docs/problems/{self.kind}",
            "title": in_language(kind.title, language),
            "status": kind.status,
            "detail": in_language(self.detail or _summary(self.faults) or kind.meaning, language),
        }
        if request_id is not None:
            document["request_id"] = request_id
        document["errors"] = [
            _error(fault, in_query=self.in_query, language=language) for fault in self.faults[:MAX_FAULTS]
        ]
        return document


def _summary(faults: Sequence[Fault]) -> str | None:
    if len(faults) > MAX_FAULTS:
        return Filled("More than {most} entries need correction; the first {most} are listed.", most=MAX_FAULTS)
    if len({fault.detail for fault in faults}) <= 1:
        return faults[0].detail if faults else None
    return Filled("{count} entries need correction.", count=len(faults))


def _error(fault: Fault, *, in_query: bool, language: Language) -> dict[str, Any]:
    error: dict[str, Any] = {"code": fault.code}
    if fault.path is not None:
        place: Literal["parameter", "pointer"] = "parameter" if in_query else "pointer"
        error[place] = _parameter(fault.path) if in_query else json_pointer(fault.path)
    for name in ("header", "line", "column"):
        if (value := getattr(fault, name)) is not None:
            error[name] = value
    error["detail"] = in_language(fault.detail, language)
    if fault.expected is not None:
        error["expected"] = in_language(fault.expected, language)
    if fault.suggestions:
        error["suggestions"] = list(fault.suggestions)
    return error


def _parameter(path: tuple[str | int, ...]) -> str:
    """The query parameter behind a place in a job: the one sheet's fields stand in the query by their own names."""
    names = [part for part in path if isinstance(part, str)]
    return names[1] if names[0] == "sheets" and len(names) > 1 else names[0]


def problem_response(problem: Problem) -> Response:
    """The response of a problem; never cached."""
    kind = PROBLEM_TYPES[problem.kind]
    language = asked_language()
    document = problem.document(request_id=g.get("request_id"), language=language)
    accept = request.accept_mimetypes
    # A browser that follows a link takes anything and likes the page best; a program names what it can read.
    if accept.best == "text/html" and accept[MEDIA_TYPE] > 0 and MEDIA_TYPE not in accept.values():
        page = render_template("failed.html", problem=document)
        response = Response(page, status=kind.status, content_type="text/html; charset=utf-8")
        response.headers["Content-Security-Policy"] = f"{SECURITY['Content-Security-Policy']}; style-src 'self'"
    else:
        response = Response(json_bytes(document), status=kind.status, content_type=MEDIA_TYPE)
    response.headers["Cache-Control"] = "no-store"
    response.headers["Content-Language"] = language
    response.headers.update(problem.headers)
    return response


def from_http(error: HTTPException) -> Problem:
    """The problem that stands for an error of the framework: wrong path, wrong method, body too large."""
    headers = {name: value for name, value in error.get_headers() if name in ("Allow", "Retry-After")}
    kind = _BY_STATUS.get(error.code or 500)
    if kind is None:
        kind = "internal" if (error.code or 500) >= 500 else "bad-syntax"
    faults: tuple[Fault, ...] = ()
    if kind == "method-not-allowed":
        faults = (Fault(code=kind, detail="This path does not have this method.", expected=headers["Allow"]),)
    elif kind == "too-large":
        expected = Filled("at most {most} bytes", most=request.max_content_length)
        faults = (Fault(code=kind, detail="The body is too large.", expected=expected),)
    return Problem(kind, *faults, headers=headers)


def handle_problems(app: Flask) -> None:
    """Answer every error of this application with a problem."""

    def http(error: HTTPException) -> Response:
        if isinstance(error.response, Response):  # a limit has written its own
            return error.response
        return problem_response(from_http(error))

    def internal(error: Exception) -> Response:
        log.exception("request %s failed", g.get("request_id"), exc_info=error)
        return problem_response(Problem("internal"))

    def question(error: QuestionError) -> Response:
        return problem_response(Problem("invalid-values", *faults_of(error)))

    app.register_error_handler(Problem, problem_response)
    app.register_error_handler(QuestionError, question)
    app.register_error_handler(HTTPException, http)
    app.register_error_handler(Exception, internal)
