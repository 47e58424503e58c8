"""The calls of the set-up sheet: by POST, and by a link that carries the job; as a page or as PDF."""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any, Final, Literal
from urllib.parse import urlencode

from flask import Response, request
from marshmallow import EXCLUDE, post_load
from sheetmargin.contract.job import Job, Paper, SetupSheetQuestion

from sheetmargin_service.api import strict_json
from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import canonical_job, strong_etag
from sheetmargin_service.api.decode import decode_value
from sheetmargin_service.api.encode import encode, given
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.resolve_job import resolve_job
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.derive import asked_field, question_schema
from sheetmargin_service.api.schemas.strict import StrictSchema, Text
from sheetmargin_service.api.service import current_service
from sheetmargin_service.errors import Filled
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.selection.class_filter import FILTERED
from sheetmargin_service.web.pages import CSS, HTML, asset, policy, static
from sheetmargin_service.web.pdf import NoPdf, pdf_installed, pdf_of
from sheetmargin_service.web.setup_sheet import Links, Versions, reading_unit, render
from sheetmargin_service.web.words import Words

PDF: Final = "application/pdf"
LONGEST_LINK = 4000
"""Characters of a link's query. Servers and proxies commonly read request lines of 4094 bytes or more (gunicorn's
default limit)."""

LONGEST_FILE_NAME = 60
"""Characters of a reference in the name of a file."""
WISHES = ("rank", "setup", "paper", "language")
"""What is asked of the sheet beside its job."""
POLICY = policy("style-src 'self'")
STYLE = "setup-sheet.css"

routes = Routes("setup-sheets", "Set-up sheets: one page to print for whoever mounts the detector.")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Which sheet is wanted. None: what the request's headers say, or nothing."""

    job: Job
    rank: int
    setup: int
    paper: Paper
    language: Language | None = None
    made_with: Versions | None = None


class SetupSheetQuery(StrictSchema):
    """The same in a link. Shops, mails and campaigns add parameters of their own: those change nothing."""

    class Meta:
        unknown = EXCLUDE

    job = Text("Job as JSON in base64url (RFC 4648, section 5) without padding.", longest=8000, required=True)
    made_with = Text(
        "Model and catalogue version that the link was made with, joined by a full stop; not compared if not given.",
        longest=100,
    )
    rank, setup, paper, language = (asked_field(SetupSheetQuestion, name) for name in WISHES)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> Asked:
        data["job"] = _unpacked(data["job"])
        model, _dot, catalogue = data.pop("made_with", "").partition(".")
        return Asked(**data, made_with=Versions(model=model, catalogue=catalogue) if model else None)


@routes.post(
    "/v1/setup-sheets", Call(scope="recommend", media_type=HTML, cached=True), body=question_schema(SetupSheetQuestion)
)
def make_setup_sheet(asked: SetupSheetQuestion) -> Response:
    """The printable set-up sheet of a recommendation."""
    return _sheet(_of_question(asked), HTML)


@routes.get("/v1/setup-sheets", Call(scope="recommend", media_type=HTML, cached=True), query=SetupSheetQuery)
def show_setup_sheet(asked: Asked) -> Response:
    """The set-up sheet that a link carries; it says when today's versions differ from those it was made with."""
    return _sheet(asked, HTML)


@routes.post(
    "/v1/setup-sheets.pdf",
    Call(scope="recommend", media_type=PDF, cached=True, can_fail=("not-found",)),
    body=question_schema(SetupSheetQuestion),
)
def make_setup_sheet_pdf(asked: SetupSheetQuestion) -> Response:
    """The set-up sheet as PDF, where the service is installed with the extra `pdf`."""
    return _sheet(_of_question(asked), PDF)


@routes.get(
    "/v1/setup-sheets.pdf",
    Call(scope="recommend", media_type=PDF, cached=True, can_fail=("not-found",)),
    query=SetupSheetQuery,
)
def show_setup_sheet_pdf(asked: Asked) -> Response:
    """The set-up sheet that a link carries, as PDF."""
    return _sheet(asked, PDF)


@routes.get("/assets/setup-sheet.css", Call(scope="open", media_type=CSS, cached=True))
def show_setup_sheet_style() -> Response:
    """Style sheet of the printed set-up sheet."""
    return asset(STYLE, CSS)


def _of_question(asked: SetupSheetQuestion) -> Asked:
    job = Job(**{field.name: getattr(asked, field.name) for field in fields(Job)})
    return Asked(job=job, **{name: getattr(asked, name) for name in WISHES})


def _sheet(asked: Asked, media_type: Literal["text/html", "application/pdf"]) -> Response:
    service = current_service()
    resolved = resolve_job(asked.job, service)
    language = asked.language or wanted_language()

    def compute() -> bytes:
        answer = service.recommend(resolved.job, catalogue=resolved.catalogue, library=service.library)
        document = encode(answer, language=language)
        recommendation, setup = _chosen(document, asked)
        html = render(
            document,
            recommendation=recommendation,
            setup=setup,
            detector_class=next(one for one in resolved.catalogue.classes if one.id == setup["detector_class"]["id"]),
            words=Words(
                Reader(language=language, sheets=answer.sheets),
                us=asked.paper == "letter",
                reading_unit=reading_unit(setup),
            ),
            paper=asked.paper,
            made_with=asked.made_with,
            build=service.build,
            links=_links(asked, document, language),
            style=static(STYLE) if media_type == PDF else None,
        )
        return html.encode() if media_type == HTML else _pdf(html)

    choice = json.dumps(asdict(asked) | {"job": None, "root": request.url_root, "key": request.args.get("key")})
    versions = (service.build, service.model_version, resolved.catalogue.version)
    etag = strong_etag(*versions, media_type, language, canonical_job(resolved.job), asked.job.reference or "", choice)
    content_type = media_type if media_type == PDF else f"{media_type}; charset=utf-8"
    response = cacheable(compute, etag=etag, language=language, keyed=service.gate.keyed, media_type=content_type)
    response.headers["Content-Security-Policy"] = POLICY
    if media_type == PDF:
        response.headers["Content-Disposition"] = f'inline; filename="{_file_name(resolved.job, language)}"'
    return response


def _file_name(job: Job, language: Language) -> str:
    """Of letters and digits that every system takes, with the job's reference where that has some."""
    reference = re.sub(r"[^A-Za-z0-9]+", "-", job.reference or "").strip("-").lower()[:LONGEST_FILE_NAME]
    return "-".join(filter(None, (Words(Reader(language=language))("file-name"), reference))) + ".pdf"


def _chosen(document: Mapping[str, Any], asked: Asked) -> tuple[dict[str, Any], dict[str, Any]]:
    """The recommendation and the set-up that are asked for; Problem unless the answer has them."""
    recommendations = document["recommendations"]
    if not recommendations:
        filtered = all(one["code"] == FILTERED for one in document["ruled_out"])
        nothing = "No detector class serves this job: there is nothing to set up."
        detail = "No detector class meets the job's requirements: there is nothing to set up." if filtered else nothing
        place = ("job",) if _in_query() else ("sheets",)
        raise Problem("invalid-values", Fault(code="no-set-up", detail=detail, path=place), in_query=_in_query())
    recommendation = _numbered(recommendations, "rank", asked.rank, field="rank")
    return recommendation, _numbered(recommendation["setups"], "index", asked.setup, field="setup")


def _numbered(things: Sequence[dict[str, Any]], key: str, number: int, *, field: str) -> dict[str, Any]:
    for thing in things:
        if thing[key] == number:
            return thing
    expected = Filled("one of {names}", names=", ".join(str(thing[key]) for thing in things))
    fault = Fault(
        code="unknown-value", detail="The answer does not have this number.", expected=expected, path=(field,)
    )
    raise Problem("invalid-values", fault, in_query=_in_query())


def _in_query() -> bool:
    return request.method != "POST"


def _pdf(html: str) -> bytes:
    try:
        return pdf_of(html)
    except NoPdf as error:
        raise Problem("not-found", detail="This service does not make PDF files. Print the page instead.") from error


def _links(asked: Asked, document: Mapping[str, Any], language: Language) -> Links:
    versions = Versions(model=document["model_version"], catalogue=document["catalogue_version"])
    query: dict[str, str | int] = {"job": _packed(asked.job), "rank": asked.rank, "language": language}
    if asked.setup:
        query["setup"] = asked.setup
    if key := request.args.get("key"):
        query["key"] = key  # a publishable one: whoever follows a link of this page came with it

    def link(path: str, paper: Paper) -> str | None:
        text = urlencode(query | {"paper": paper, "made_with": versions.mark})
        return f"{request.url_root}v1/{path}?{text}" if len(text) <= LONGEST_LINK else None

    other: Paper = "letter" if asked.paper == "a4" else "a4"
    digest = hashlib.sha256(canonical_job(asked.job).encode()).hexdigest()[:16]
    return Links(
        digest=" ".join(digest[n : n + 4] for n in range(0, 16, 4)),
        again=link("setup-sheets", asked.paper),
        pdf=link("setup-sheets.pdf", asked.paper) if pdf_installed() else None,
        other_paper=link("setup-sheets", other),
    )


def _packed(job: Job) -> str:
    text = json.dumps(given(job), separators=(",", ":"), ensure_ascii=False)
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _unpacked(text: str) -> Job:
    try:
        body = base64.b64decode(text + "=" * (-len(text) % 4), altchars="-_", validate=True)
        value = strict_json.loads(body)
    except (binascii.Error, ValueError) as error:  # JsonError is a ValueError
        detail = "The job in this link cannot be read."
        fault = Fault(code="not-a-job", detail=detail, expected="a job's JSON in base64url", path=("job",))
        raise Problem("invalid-values", fault, in_query=True) from error
    job: Job = decode_value(value, question_schema(Job)())
    return job
