"""How much work may be under way: the time of one job, what one caller may have computed at once, the batches at once.

What is not computed in time is given up, so that it holds no thread that others wait for.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
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
from sheetmargin_service.serving.limits import caller
from sheetmargin_service.serving.metrics import Metrics
from sheetmargin_service.serving.turns import TooManyAtOnce, Turn, Turns

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
    """Limit the time of every call, how many of a caller are under way, and how many batches are computed at once."""
    turns = Turns(at_once=settings.at_once)
    of_one = settings.batches if settings.at_once is None else max(1, settings.batches - 1)
    slots = _Slots(most=settings.batches, of_one=of_one, metrics=metrics)
    for name, call in calls_of(app).items():
        # Probes are nobody's.
        name_of = caller if call.scope != "open" else lambda: f"thread {threading.get_ident()}"
        view = _in_time(cast("View", app.view_functions[name]), settings.time_limit_s, turns, name_of, metrics)
        app.view_functions[name] = _in_slot(view, slots) if call.scope == "batch" else view


def _in_time(view: View, seconds: float | None, turns: Turns, name_of: Callable[[], str], metrics: Metrics) -> View:
    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> Response:
        turn, streamed = Turn(turns=turns, name=name_of), False
        try:
            with turn.computing(), time_limit(seconds):
                response = view(*args, **kwargs)
            streamed = response.is_streamed
            if streamed:
                response.response = _between_turns(response.iter_encoded(), turn)
                response.call_on_close(turn.end)
            return response
        except OutOfTime as error:
            raise _took_too_long(metrics) from error
        except TooManyAtOnce as error:
            raise _at_once(metrics) from error
        finally:
            if not streamed:
                turn.end()

    return answer


def _between_turns(pieces: Iterator[bytes], turn: Turn) -> Iterator[bytes]:
    """The pieces of an answer; while one is being sent others compute."""
    while True:
        with turn.computing():
            piece = next(pieces, None)
        if piece is None:
            return
        yield piece


@dataclass(kw_only=True)
class _Slots:
    """The batches that are being computed, by caller."""

    most: int
    of_one: int
    metrics: Metrics
    taken: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, name: str) -> None:
        """Problem where there is no slot for this caller."""
        with self.lock:
            if len(self.taken) < self.most and self.taken.count(name) < self.of_one:
                self.taken.append(name)
                return
            others = len(self.taken) >= self.most
        if not others:
            raise _at_once(self.metrics)
        self.metrics.refused.labels("batches").inc()
        raise _unavailable("Other batches are being computed.")


def _in_slot(view: View, slots: _Slots) -> View:
    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> Response:
        name = caller()
        slots.take(name)
        try:
            response = view(*args, **kwargs)
        except BaseException:
            slots.taken.remove(name)
            raise
        response.call_on_close(lambda: slots.taken.remove(name))
        return response

    return answer


def _at_once(metrics: Metrics) -> Problem:
    metrics.refused.labels("at once").inc()
    fault = Fault(
        code="at-once", detail="Too many requests of this caller are under way.", expected="one after another"
    )
    return Problem("too-many-requests", fault, headers={"Retry-After": "1"})


def _took_too_long(metrics: Metrics) -> Problem:
    metrics.refused.labels("time").inc()
    expected = "fewer sheets, layers or classes at once, or a later request"
    fault = Fault(code="time-limit", detail="The calculation took too long.", expected=expected)
    return _unavailable(
        "The calculation took too long. Send fewer sheets, layers or classes at once, or try again later.", fault
    )


def _unavailable(detail: str, *faults: Fault) -> Problem:
    return Problem("unavailable", *faults, detail=detail, headers={"Retry-After": str(RETRY_AFTER_S)})
