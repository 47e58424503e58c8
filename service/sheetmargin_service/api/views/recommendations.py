"""A job in, ranked recommendations out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import fields
from types import MappingProxyType

from flask import Response
from sheetmargin.contract.answer import Answer, Comparison
from sheetmargin.contract.job import Job
from sheetmargin.contract.measure import ComparisonQuestion
from sheetmargin.contract.summary import Summary, summary_of

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import canonical_job, strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import encode, json_bytes
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.resolve_job import CheckedJob, falling_band, resolve_job
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.derive import answer_schema, question_schema
from sheetmargin_service.api.schemas.field_names import Wanted, picked
from sheetmargin_service.api.schemas.query import FieldsQuery, SheetFieldsQuery, SheetQuery
from sheetmargin_service.api.service import Service, current_service
from sheetmargin_service.errors import Filled
from sheetmargin_service.measurement.compare_setups import compare_setups
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.selection.compare import compare

routes = Routes(
    "recommendations",
    "Recommendations: which detector to mount, at which gap, tilt and band, and what to expect of it.",
)


@routes.post(
    "/v1/recommendations",
    Call(scope="recommend", cached=True),
    body=question_schema(Job),
    answer=answer_schema(Answer),
    query=FieldsQuery,
)
def recommend_for_job(wanted: Wanted, job: Job) -> Response:
    """Rank the detector classes that serve a job.

    A job that nothing serves is answered with the verdict `unsuitable`, not with an error. With `fields` the answer has
    those alone.
    """
    return _answer(resolve_job(job, current_service()), wanted_language(), wanted=wanted)


@routes.get(
    "/v1/recommendations", Call(scope="recommend", cached=True), query=SheetFieldsQuery, answer=answer_schema(Answer)
)
def recommend_for_sheet(asked: tuple[tuple[Job, Language | None], Wanted]) -> Response:
    """Rank the detector classes that serve one sheet.

    The same answer as to a job with this one sheet, in a form that caches can keep. With `fields` it has those alone.
    """
    (job, language), wanted = asked
    return _answer(resolve_job(job, current_service(), in_query=True), language or wanted_language(), wanted=wanted)


@routes.post(
    "/v1/summaries", Call(scope="recommend", cached=True), body=question_schema(Job), answer=answer_schema(Summary)
)
def summarise_for_job(job: Job) -> Response:
    """Summarise the best recommendation for a job in less than 2 kB, for a list of offers or a small screen."""
    return _answer(resolve_job(job, current_service()), wanted_language(), shown=summary_of)


@routes.get("/v1/summaries", Call(scope="recommend", cached=True), query=SheetQuery, answer=answer_schema(Summary))
def summarise_for_sheet(asked: tuple[Job, Language | None]) -> Response:
    """Summarise the best recommendation for one sheet in less than 2 kB, in a form that caches can keep."""
    job, language = asked
    resolved = resolve_job(job, current_service(), in_query=True)
    return _answer(resolved, language or wanted_language(), shown=summary_of)


@routes.post(
    "/v1/comparisons",
    Call(scope="recommend", cached=True),
    body=question_schema(ComparisonQuestion),
    answer=answer_schema(Comparison),
)
def compare_two(asked: ComparisonQuestion) -> Response:
    """Compare two detector classes or two installed set-ups for a job, the deciding step of the ranking first."""
    service, language = current_service(), wanted_language()
    job = Job(**{field.name: getattr(asked, field.name) for field in fields(Job)})
    resolved = resolve_job(job, service, also=_uncomparable(asked, job, service))

    def compute() -> bytes:
        job, catalogue, library = resolved.job, resolved.catalogue, service.library
        if asked.setups is not None:
            told = compare_setups(asked.setups, job=job, catalogue=catalogue, library=library)
        else:
            told = compare(asked.between or (), job=job, catalogue=catalogue, library=library)
        return json_bytes(encode(told, language=language))

    versions = (service.build, service.model_version, resolved.catalogue.version)
    between = [*(asked.between or ()), *map(repr, asked.setups or ())]
    etag = strong_etag(*versions, JSON, language, "comparison", *between, canonical_job(resolved.job))
    return cacheable(compute, etag=etag, language=language, keyed=service.gate.keyed)


def _uncomparable(asked: ComparisonQuestion, job: Job, service: Service) -> Iterator[Fault]:
    """Neither classes nor set-ups, or both; classes that the catalogue does not have; one compared with itself."""
    if (asked.between is None) == (asked.setups is None):
        yield Fault(
            code="conflicting-fields" if asked.between else "missing-field",
            detail="Compare either two classes or two set-ups.",
            expected="between or setups",
            path=("between",),
        )
    catalogue = service.catalogues.get(job.catalogue or service.default_catalogue)
    known = [c.id for c in catalogue.classes] if catalogue else []
    for index, name in enumerate(asked.between or ()):
        if catalogue and name not in known:
            yield Fault(
                code="unknown-class",
                detail="This detector class is not in the catalogue.",
                expected=Filled("one of {names}", names=", ".join(known)),
                path=("between", index),
            )
    for name, pair in (("between", asked.between), ("setups", asked.setups)):
        if pair and pair[0] == pair[1]:
            yield Fault(code="contradiction", detail="Both are the same.", expected="two that differ", path=(name,))
    for index, setup in enumerate(asked.setups or ()):
        yield from falling_band(setup.profile, of=("setups", index))


def _answer(
    resolved: CheckedJob,
    language: Language,
    *,
    shown: Callable[[Answer], object] = lambda answer: answer,
    wanted: Wanted = MappingProxyType({}),
) -> Response:
    service = current_service()

    def compute() -> bytes:
        answer = service.recommend(resolved.job, catalogue=resolved.catalogue, library=service.library)
        return json_bytes(picked(encode(shown(answer), language=language), wanted))

    versions = (service.build, service.model_version, resolved.catalogue.version)
    what = ["summary"] if shown is summary_of else [repr(wanted)] if wanted else []
    etag = strong_etag(*versions, JSON, language, *what, canonical_job(resolved.job))
    return cacheable(compute, etag=etag, language=language, keyed=service.gate.keyed)
