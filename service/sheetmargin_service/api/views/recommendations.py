"""A job in, ranked recommendations out."""

from __future__ import annotations

from flask import Response

from sheetmargin_service.api.admit import Question, admit
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import canonical_job, strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.languages import Language, wanted_language
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.answer import AnswerSchema, dump_answer
from sheetmargin_service.api.schemas.job import JobSchema, SheetQuerySchema
from sheetmargin_service.api.service import current_service
from sheetmargin_service.selection.job import Job

routes = Routes("recommendations", "Which detector, how far apart, tilted how much, set to what, and will it work.")


@routes.post("/v1/recommendations", Call(scope="recommend", cached=True), body=JobSchema, answer=AnswerSchema)
def recommend_for_job(job: Job) -> Response:
    """Rank the detector classes that serve a job.

    A job that nothing serves is answered with the verdict `unsuitable`, not with an error.
    """
    return _answer(admit(job, current_service()), wanted_language())


@routes.get("/v1/recommendations", Call(scope="recommend", cached=True), query=SheetQuerySchema, answer=AnswerSchema)
def recommend_for_sheet(asked: tuple[Job, Language | None]) -> Response:
    """Rank the detector classes that serve one sheet.

    The same answer as to a job with this one sheet, in a form that caches can keep.
    """
    job, language = asked
    return _answer(admit(job, current_service(), in_query=True), language or wanted_language())


def _answer(question: Question, language: Language) -> Response:
    service = current_service()

    def compute() -> bytes:
        answer = service.recommend(question.job, catalogue=question.catalogue, library=service.library)
        return json_bytes(dump_answer(answer, language=language))

    versions = (service.build, service.model_version, question.catalogue.version)
    etag = strong_etag(*versions, JSON, language, canonical_job(question.job))
    return cacheable(compute, etag=etag, language=language, keyed=service.gate.keyed)
