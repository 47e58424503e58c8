"""Many jobs in one body: one answer line each, in order; what is wrong with one is no matter to the others."""

from __future__ import annotations

import errno
import json
import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import Any

from marshmallow import ValidationError
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job

from sheetmargin_service.api import strict_json
from sheetmargin_service.api.canonical import canonical_job
from sheetmargin_service.api.decode import JSON, decode_value
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.resolve_job import CheckedJob, resolve_job
from sheetmargin_service.api.schemas.derive import asked_field, question_schema
from sheetmargin_service.api.schemas.strict import StrictSchema
from sheetmargin_service.api.service import Service

log = logging.getLogger(__name__)

NDJSON = "application/x-ndjson"
MEDIA_TYPES = (JSON, NDJSON)
MOST_JOBS = 1000
REFERENCE = asked_field(Job, "reference")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One job of a batch as it came: its JSON value, or the faults for which it has none."""

    value: Any = None
    faults: tuple[Fault, ...] = ()

    @property
    def reference(self) -> str | None:
        """The caller's own, where it is one that can be sent back."""
        try:
            text: str | None = REFERENCE.deserialize(self.value["reference"])
            (text or "").encode()
        except (TypeError, KeyError, ValidationError, UnicodeEncodeError):
            return None
        return text


def entries_of(body: bytes, media_type: str) -> list[Entry]:
    """The jobs of a body; Problem where the whole is none or has too many of them."""
    return _lines(body) if media_type == NDJSON else _items(body)


def _check_count(count: int) -> None:
    if count > MOST_JOBS:
        expected = f"at most {MOST_JOBS} jobs in a call"
        fault = Fault(code="wrong-length", detail="These are too many jobs.", expected=expected, path=())
        raise Problem("invalid-values", fault)


def _items(body: bytes) -> list[Entry]:
    try:
        value, faults = strict_json.parse(body)
    except strict_json.JsonError as error:
        raise Problem("bad-syntax", *error.faults) from error
    if not isinstance(value, list):
        fault = Fault(code="wrong-type", detail="This is of the wrong type.", expected="an array of jobs", path=())
        raise Problem("invalid-values", fault)
    _check_count(len(value))
    own = {
        index: tuple(replace(fault, path=(fault.path or ())[1:]) for fault in group)
        for index, group in groupby(sorted(faults, key=_position), key=_position)
    }
    return [Entry(value=item, faults=own.get(index, ())) for index, item in enumerate(value)]


def _position(fault: Fault) -> int:
    assert fault.path is not None
    return int(fault.path[0])


def _lines(body: bytes) -> list[Entry]:
    """Blank lines are none, but count as lines when a fault says where it is."""
    numbered = [(number, line) for number, line in enumerate(body.split(b"\n"), start=1) if line.strip()]
    _check_count(len(numbered))
    return [_entry(line, number) for number, line in numbered]


def _entry(line: bytes, number: int) -> Entry:
    try:
        value, faults = strict_json.parse(line)
    except strict_json.JsonError as error:
        return Entry(faults=tuple(replace(fault, line=number) for fault in error.faults))
    return Entry(value=value, faults=tuple(faults))


@dataclass
class Progress:
    """How far the answer to a batch has come: `jobs` there are, `begun` of them are answered or under way."""

    jobs: int
    begun: int = 0


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Answers jobs one by one, equal ones once.

    `dump` writes an answer out, `is_gone` tells whether nobody waits any more, `request_id` is told in problems.
    """

    service: Service
    dump: Callable[[Answer], dict[str, Any]]
    is_gone: Callable[[], bool]
    request_id: str | None = None
    schema: StrictSchema = field(default_factory=question_schema(Job))

    def answer(self, entries: list[Entry], progress: Progress) -> Iterator[dict[str, Any]]:
        """One line for each job, as soon as it is computed; BrokenPipeError when nobody waits for it.

        Without asking, the job after the one under way would be computed, too: the kernel takes one line more.
        """
        known: dict[str, Answer] = {}
        for index, entry in enumerate(entries):
            if self.is_gone():
                raise BrokenPipeError(errno.EPIPE, "the caller of a batch has gone")
            progress.begun += 1
            line: dict[str, Any] = {"index": index, "reference": entry.reference}
            try:
                yield {**line, "result": self._result(entry, known)}
            except Problem as problem:
                yield {**line, "problem": problem.document(request_id=self.request_id)}

    def _result(self, entry: Entry, known: dict[str, Answer]) -> dict[str, Any]:
        if entry.faults:
            raise Problem("bad-syntax", *entry.faults)
        try:
            resolved = resolve_job(decode_value(entry.value, self.schema), self.service)
            key = canonical_job(resolved.job)
            if key not in known:
                known[key] = self._compute(resolved)
            return self.dump(replace(known[key], reference=resolved.job.reference))
        except Problem:
            raise
        except Exception as error:
            log.exception("request %s: a job of a batch failed", self.request_id)
            raise Problem("internal") from error

    def _compute(self, resolved: CheckedJob) -> Answer:
        return self.service.recommend(resolved.job, catalogue=resolved.catalogue, library=self.service.library)


def as_ndjson(lines: Iterator[dict[str, Any]]) -> Iterator[bytes]:
    """One line for each job, and a last one that says that there are no more."""
    count = problems = 0
    for line in lines:
        count, problems = count + 1, problems + ("problem" in line)
        yield json_bytes(line) + b"\n"
    yield json.dumps({"end": {"count": count, "problems": problems}}).encode() + b"\n"


def as_array(lines: Iterator[dict[str, Any]]) -> Iterator[bytes]:
    """A JSON array; its closing bracket says that there are no more."""
    opening = b"["
    for line in lines:
        yield opening + json_bytes(line)
        opening = b",\n"
    yield b"[]" if opening == b"[" else b"]"
