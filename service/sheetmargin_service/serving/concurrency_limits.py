"""How much work may be under way: the time of one job, and the batches at once.

What is not computed in time is given up, so that it holds no thread that others wait for.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from flask import Flask, Response
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.routes import calls_of
from sheetmargin_service.api.service import Recommend
from sheetmargin_service.config import Settings
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.selection.time_limit import OutOfTime, time_limit
from sheetmargin_service.serving.metrics import Metrics

RETRY_AFTER_S = 5

View = Callable[..., Response]


def limited(recommend: Recommend, seconds: float | None, metrics: Metrics) -> Recommend:
    """The same, given up with a problem after so many seconds. A batch has them for each of its jobs."""

    def compute(job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
        try:
            with time_limit(seconds):
                return recommend(job, catalogue=catalogue, library=library)
        except OutOfTime as error:
            raise _took_too_long(metrics) from error

    return compute


def install_work_limits(app: Flask, settings: Settings, metrics: Metrics) -> None:
    """Limit the time of every call, and how many batches are computed at once."""
    slots = threading.BoundedSemaphore(settings.batches)
    for name, call in calls_of(app).items():
        view = _in_time(cast("View", app.view_functions[name]), settings.time_limit_s, metrics)
        app.view_functions[name] = _in_slot(view, slots, metrics) if call.scope == "batch" else view


def _in_time(view: View, seconds: float | None, metrics: Metrics) -> View:
    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> Response:
        try:
            with time_limit(seconds):
                return view(*args, **kwargs)
        except OutOfTime as error:
            raise _took_too_long(metrics) from error

    return answer


def _in_slot(view: View, slots: threading.BoundedSemaphore, metrics: Metrics) -> View:
    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> Response:
        if not slots.acquire(blocking=False):
            metrics.refused.labels("batches").inc()
            raise _unavailable("Other batches are being computed.")
        try:
            response = view(*args, **kwargs)
        except BaseException:
            slots.release()
            raise
        response.call_on_close(slots.release)
        return response

    return answer


def _took_too_long(metrics: Metrics) -> Problem:
    metrics.refused.labels("time").inc()
    expected = "fewer sheets, layers or classes at once, or asked again later"
    fault = Fault(code="time-limit", detail="This took too long.", expected=expected)
    return _unavailable("This took too long. Ask for fewer sheets, layers or classes at once, or again later.", fault)


def _unavailable(detail: str, *faults: Fault) -> Problem:
    return Problem("unavailable", *faults, detail=detail, headers={"Retry-After": str(RETRY_AFTER_S)})
