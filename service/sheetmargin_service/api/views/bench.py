"""The bench: what would be read, what readings say of a sample, what is wrong with a machine."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from typing import TypeVar

from flask import Response
from marshmallow import Schema

from sheetmargin_service.api.admit import Question, admit
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import canonical_question, strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.faults import faults_of
from sheetmargin_service.api.languages import wanted_language
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.bench_answer import DiagnosisSchema, FitSchema, PredictionSchema, dump
from sheetmargin_service.api.schemas.bench_question import (
    DiagnosisQuestionSchema,
    FitQuestionSchema,
    PredictionQuestionSchema,
)
from sheetmargin_service.api.service import Service, current_service
from sheetmargin_service.bench.diagnose import DiagnosisAnswer, DiagnosisQuestion, diagnose
from sheetmargin_service.bench.fit import FitAnswer, FitQuestion, answer_fit
from sheetmargin_service.bench.predict import PredictionAnswer, PredictionQuestion, predict
from sheetmargin_service.errors import Path, QuestionError
from sheetmargin_service.selection.answer import Answer
from sheetmargin_service.selection.job import Job

Asked = TypeVar("Asked", PredictionQuestion, FitQuestion, DiagnosisQuestion)

routes = Routes("bench", "Readings: what to expect, what they say of a sample, what is wrong with a machine.")
BENCH = Call(scope="bench", cached=True)


@routes.post("/v1/predictions", BENCH, body=PredictionQuestionSchema, answer=PredictionSchema)
def predict_readings(asked: PredictionQuestion) -> Response:
    """What would be read with a given class, gap, tilt, profile and sheet, and over a grid for a plot."""

    def compute(service: Service, admitted: Question, asked: PredictionQuestion) -> PredictionAnswer:
        return predict(asked, catalogue=admitted.catalogue, library=service.library)

    return _answer(asked, PredictionSchema(), compute)


@routes.post("/v1/fits", BENCH, body=FitQuestionSchema, answer=FitSchema)
def fit_readings(asked: FitQuestion) -> Response:
    """The sheet that readings of a sample speak for, and what it changes in the recommendation."""

    def compute(service: Service, admitted: Question, asked: FitQuestion) -> FitAnswer:
        recommend = _recommending(service, admitted)
        return answer_fit(asked, catalogue=admitted.catalogue, library=service.library, recommend=recommend)

    return _answer(asked, FitSchema(), compute)


@routes.post("/v1/diagnoses", BENCH, body=DiagnosisQuestionSchema, answer=DiagnosisSchema)
def diagnose_machine(asked: DiagnosisQuestion) -> Response:
    """What is wrong with an installed set-up: causes ranked by symptoms and readings."""

    def compute(service: Service, admitted: Question, asked: DiagnosisQuestion) -> DiagnosisAnswer:
        recommend = _recommending(service, admitted)
        return diagnose(asked, catalogue=admitted.catalogue, library=service.library, recommend=recommend)

    return _answer(asked, DiagnosisSchema(), compute)


def _recommending(service: Service, admitted: Question) -> Callable[[Job], Answer]:
    return lambda job: service.recommend(job, catalogue=admitted.catalogue, library=service.library)


def _answer(asked: Asked, schema: Schema, compute: Callable[[Service, Question, Asked], object]) -> Response:
    service, language = current_service(), wanted_language()
    admitted = _admit(asked.job, service)
    asked = replace(asked, job=admitted.job)

    def body() -> bytes:
        try:
            return json_bytes(dump(schema, compute(service, admitted, asked), language=language))
        except QuestionError as error:
            raise Problem("invalid-values", *faults_of(error)) from error

    versions = (service.build, service.model_version, admitted.catalogue.version)
    etag = strong_etag(*versions, JSON, language, type(asked).__name__, canonical_question(asdict(asked)))
    return cacheable(body, etag=etag, language=language, keyed=service.gate.keyed)


def _admit(job: Job, service: Service) -> Question:
    """The question's job; faults of its one sheet are told as faults of `sheet`."""
    try:
        return admit(job, service)
    except Problem as problem:
        faults = [replace(fault, path=_in_question(fault.path)) for fault in problem.faults]
        raise Problem(problem.kind, *faults) from problem


def _in_question(path: Path | None) -> Path | None:
    return ("sheet", *path[2:]) if path and path[0] == "sheets" else path
