"""Many questions: cut into calls, several at once, answered in order, and to be gone on with after a break.

Every call is a pure computation, so it is asked again where it breaks, and it may be computed anywhere: by threads that
ask a server, by processes that each hold the service, or by any `concurrent.futures.Executor` of a cluster.
"""

from __future__ import annotations

import json
import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sized
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sheetmargin.encode import Question, job_to_json
from sheetmargin.errors import ExtraNotInstalled, InvalidJob
from sheetmargin.outcome import Outcome, outcome_of
from sheetmargin.resume_file import KeyFile, key_of

if TYPE_CHECKING:
    from sheetmargin.client import Client

MOST_JOBS = 1000
MOST_BYTES = 2 << 20
"""Of one call: the service's own limits."""
CHUNK = 50
"""Jobs in a call if not told: some seconds of work, so that calls share out evenly and little is computed twice."""
AHEAD = 4
"""Calls held for each one under way: while the first of the window is slow, the others go on."""

Progress = Callable[[int, int | None], object]
"""Called with the number of outcomes taken so far, and of all of them if known."""
Report = Callable[[int], object]


@dataclass(kw_only=True)
class _Entry:
    """A question on its way: its body, then its answer; or the error for which it is not asked."""

    index: int
    body: bytes = b""
    answer: bytes | None = None
    error: InvalidJob | None = None

    @property
    def open(self) -> bool:
        return self.error is None and self.answer is None

    def outcome(self) -> Outcome:
        if self.answer is None:
            return Outcome(index=self.index, error=self.error)
        return outcome_of(self.answer, index=self.index)


@dataclass(kw_only=True)
class Part:
    """What goes into one call, and what lies between."""

    entries: list[_Entry] = field(default_factory=list)

    @property
    def open(self) -> list[_Entry]:
        return [entry for entry in self.entries if entry.open]

    @property
    def lines(self) -> list[bytes]:
        return [entry.body for entry in self.open]


def recommend_many(
    client: Client,
    questions: Iterable[Question | InvalidJob],
    *,
    workers: int | None = None,
    executor: Executor | None = None,
    chunk: int = CHUNK,
    progress: bool | Progress = False,
    resume: str | os.PathLike[str] | None = None,
) -> Iterator[Outcome]:
    """The outcome of each question, in order; see `Client.recommend_many`."""
    workers = workers if workers is not None else 1 if executor is None else (os.cpu_count() or 1)
    if workers < 1 or not 1 <= chunk <= MOST_JOBS:
        raise ValueError(f"workers is {workers}, chunk is {chunk}; expected at least 1, and 1 to {MOST_JOBS}")
    shown = _shown(progress, len(questions) if isinstance(questions, Sized) else None)
    return _run(client, questions, workers, executor, chunk, shown, resume)


def _run(
    client: Client,
    questions: Iterable[Question | InvalidJob],
    workers: int,
    executor: Executor | None,
    chunk: int,
    shown: AbstractContextManager[Report],
    resume: str | os.PathLike[str] | None,
) -> Iterator[Outcome]:
    with ExitStack() as stack:
        report = stack.enter_context(shown)
        keys = None if resume is None else stack.enter_context(KeyFile(resume, service=client.fingerprint()))
        parts = parts_of(questions, chunk, keys)
        if executor is None and workers > 1:
            executor = stack.enter_context(_pool(client, workers))
        answered = _inline(parts, client, keys) if executor is None else _spread(parts, client, keys, executor, workers)
        done = 0
        for part in answered:
            for entry in part.entries:
                yield entry.outcome()
            done += len(part.entries)
            report(done)


def _pool(client: Client, workers: int) -> Executor:
    """Threads wait for a server; the service in this process computes, and Python computes in one thread at a time."""
    if client.in_this_process:
        return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))
    return ThreadPoolExecutor(workers, thread_name_prefix="sheetmargin")


def parts_of(questions: Iterable[Question | InvalidJob], chunk: int, keys: KeyFile | None = None) -> Iterator[Part]:
    """Questions cut into calls."""
    part, size = Part(), 0
    for index, question in enumerate(questions):
        entry = _entry(index, question, keys)
        length = len(entry.body) + 1 if entry.open else 0
        if part.entries and (len(part.entries) == chunk or size + length > MOST_BYTES):
            yield part
            part, size = Part(), 0
        part.entries.append(entry)
        size += length
    if part.entries:
        yield part


def _entry(index: int, question: Question | InvalidJob, keys: KeyFile | None) -> _Entry:
    if isinstance(question, InvalidJob):
        return _Entry(index=index, error=question)
    try:
        body = job_to_json(question)
        if len(body) >= MOST_BYTES:
            raise InvalidJob(f"The job takes {len(body)} bytes; expected at most {MOST_BYTES}.")
    except InvalidJob as error:
        return _Entry(index=index, error=error)
    return _Entry(index=index, body=body, answer=None if keys is None else keys.get(key_of(body)))


def settle(part: Part, answers: list[bytes], keys: KeyFile | None = None) -> None:
    """Give each open question its answer, and remember those that would come out the same again."""
    entries = part.open
    for entry, answer in zip(entries, answers, strict=True):
        entry.answer = answer
    if keys is not None:
        keys.put({key_of(entry.body): answer for entry, answer in zip(entries, answers, strict=True) if _lasts(answer)})


def _lasts(answer: bytes) -> bool:
    """Whether this is an answer or a problem of the question, not one of the service at the moment."""
    problem = json.loads(answer).get("problem")
    return problem is None or problem["status"] < 500


def _inline(parts: Iterator[Part], client: Client, keys: KeyFile | None) -> Iterator[Part]:
    for part in parts:
        if lines := part.lines:
            settle(part, client.send_batch(lines), keys)
        yield part


def _spread(
    parts: Iterator[Part], client: Client, keys: KeyFile | None, executor: Executor, at_once: int
) -> Iterator[Part]:
    """The parts in order; up to `at_once` calls are under way."""
    window: deque[tuple[Part, Future[list[bytes]] | None]] = deque()
    calls: dict[Future[list[bytes]], Part] = {}
    try:
        while True:
            while len(calls) < at_once and len(window) < AHEAD * at_once and (part := next(parts, None)) is not None:
                call = executor.submit(client.send_batch, lines) if (lines := part.lines) else None
                window.append((part, call))
                if call is not None:
                    calls[call] = part
            if not window:
                return
            if window[0][1] in calls:
                for call in wait(calls, return_when=FIRST_COMPLETED).done:
                    settle(calls.pop(call), call.result(), keys)
            while window and window[0][1] not in calls:
                yield window.popleft()[0]
    finally:
        _save_rest(calls, keys)


def _save_rest(calls: dict[Future[list[bytes]], Part], keys: KeyFile | None) -> None:
    """After an error or an early end: what has been computed is remembered, what has not begun is not begun."""
    for call in calls:
        call.cancel()
    for call, part in calls.items():
        if keys is not None and not call.cancelled() and call.exception() is None:
            settle(part, call.result(), keys)


def _shown(progress: bool | Progress, total: int | None) -> AbstractContextManager[Report]:
    """What is called with the number done so far. ExtraNotInstalled where a bar is wanted and there is none."""
    if progress is True:
        return _bar(total)
    return nullcontext(lambda done: progress(done, total) if callable(progress) else None)


def _bar(total: int | None) -> AbstractContextManager[Report]:
    try:
        from tqdm import tqdm
    except ModuleNotFoundError as error:
        raise ExtraNotInstalled.missing("tqdm", extra="bulk") from error

    @contextmanager
    def shown() -> Iterator[Report]:
        with tqdm(total=total, unit="job") as bar:
            yield lambda done: bar.update(done - bar.n)

    return shown()
