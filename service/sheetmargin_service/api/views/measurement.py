"""Readings: what would be read, what readings say of a sample, what is wrong with a machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, replace

from flask import Response
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job
from sheetmargin.contract.measure import (
    Diagnosis,
    DiagnosisQuestion,
    Fit,
    FitQuestion,
    Grid,
    Prediction,
    PredictionQuestion,
    SheetQuestion,
)

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import encode, json_bytes
from sheetmargin_service.api.faults import Fault, faults_of
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.resolve_job import CheckedJob, falling_band, resolve_job
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.derive import answer_schema, question_schema
from sheetmargin_service.api.service import Service, current_service
from sheetmargin_service.errors import Path, QuestionError
from sheetmargin_service.measurement.diagnose import diagnose
from sheetmargin_service.measurement.fit import answer_fit
from sheetmargin_service.measurement.predict import predict
from sheetmargin_service.measurement.reading import bench_readings

AXES = ("gap_mm", "tilt_deg"), ("position_mm",), ("grammage_gsm",)
"""Fields of a grid that belong together."""

routes = Routes(
    "measure", "Readings: what to expect, what they tell about a sheet, what is wrong with an installed set-up."
)
MEASURE = Call(scope="measure")


@routes.post("/v1/predictions", MEASURE, body=question_schema(PredictionQuestion), answer=answer_schema(Prediction))
def predict_readings(asked: PredictionQuestion) -> Response:
    """Predict the readings of a sheet with a given class, gap, tilt and profile, and over a grid for a plot."""

    def compute(service: Service, resolved: CheckedJob) -> Prediction:
        return predict(asked, job=resolved.job, catalogue=resolved.catalogue, library=service.library)

    return _answer(asked, compute, also=[*falling_band(asked.setup.profile, of=("setup",)), *_mixed_grid(asked.grid)])


@routes.post("/v1/fits", MEASURE, body=question_schema(FitQuestion), answer=answer_schema(Fit))
def fit_readings(asked: FitQuestion) -> Response:
    """Fit the properties of a sheet to readings of it, and tell what that changes in the recommendation."""

    def compute(service: Service, resolved: CheckedJob) -> Fit:
        job, catalogue, library = resolved.job, resolved.catalogue, service.library
        recommend = _recommending(service, resolved)
        return answer_fit(
            bench_readings(asked.readings), job=job, catalogue=catalogue, library=library, recommend=recommend
        )

    return _answer(asked, compute)


@routes.post("/v1/diagnoses", MEASURE, body=question_schema(DiagnosisQuestion), answer=answer_schema(Diagnosis))
def diagnose_machine(asked: DiagnosisQuestion) -> Response:
    """Diagnose an installed set-up: possible causes ranked by symptoms and readings."""

    def compute(service: Service, resolved: CheckedJob) -> Diagnosis:
        job, catalogue, library = resolved.job, resolved.catalogue, service.library
        recommend = _recommending(service, resolved)
        return diagnose(asked, job=job, catalogue=catalogue, library=library, recommend=recommend)

    return _answer(asked, compute, also=[*falling_band(asked.setup.profile, of=("setup",))])


def _recommending(service: Service, resolved: CheckedJob) -> Callable[[Job], Answer]:
    return lambda job: service.recommend(job, catalogue=resolved.catalogue, library=service.library)


def _answer(
    asked: SheetQuestion, compute: Callable[[Service, CheckedJob], object], *, also: Iterable[Fault] = ()
) -> Response:
    service, language = current_service(), wanted_language()
    resolved = _resolved(asked, service, also=also)

    try:
        body = json_bytes(encode(compute(service, resolved), language=language))
    except QuestionError as error:
        raise _of_question(Problem("invalid-values", *faults_of(error))) from error
    return Response(body, content_type=JSON, headers={"Content-Language": language, "Cache-Control": "no-store"})


def _resolved(asked: SheetQuestion, service: Service, *, also: Iterable[Fault]) -> CheckedJob:
    """The question's job; faults of its one sheet are told as faults of `sheet`."""
    shared = {field.name: getattr(asked, field.name) for field in fields(Job) if hasattr(asked, field.name)}
    try:
        return resolve_job(Job(sheets=(asked.sheet,), **shared), service, also=also)
    except Problem as problem:
        raise _of_question(problem) from problem


def _of_question(problem: Problem) -> Problem:
    return Problem(problem.kind, *(replace(fault, path=_in_question(fault.path)) for fault in problem.faults))


def _in_question(path: Path | None) -> Path | None:
    return ("sheet", *path[2:]) if path and path[0] == "sheets" else path


def _mixed_grid(grid: Grid | None) -> Iterator[Fault]:
    """What keeps a grid from stepping through one of three things."""
    if grid is None:
        return
    given = [name for names in AXES for name in names if getattr(grid, name)]
    if tuple(given) not in AXES:
        yield Fault(
            code="conflicting-fields" if len(given) > 1 else "missing-field",
            detail="Step a grid through one quantity only.",
            expected="gap_mm and tilt_deg, or position_mm, or grammage_gsm",
            path=("grid",),
        )
    for name in AXES[0]:
        values = list(getattr(grid, name))
        if values != sorted(set(values)):
            yield Fault(
                code="not-rising", detail="These values do not rise.", expected="rising values", path=("grid", name)
            )
