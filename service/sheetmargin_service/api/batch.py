"""Many jobs in one body: one answer line each, in order; what is wrong with one is no matter to the others."""

from __future__ import annotations

import errno
import io
import json
import logging
import math
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any

from marshmallow import ValidationError
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job

from sheetmargin_service.api import strict_json
from sheetmargin_service.api.canonical import canonical_job
from sheetmargin_service.api.decode import JSON, decode_value
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.faults import Fault, faults_of
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.resolve_job import CheckedJob, resolve_job
from sheetmargin_service.api.schemas.derive import asked_field, question_schema
from sheetmargin_service.api.schemas.strict import StrictSchema
from sheetmargin_service.api.service import Service
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.selection.time_limit import OutOfTime, check_time, time_limit

log = logging.getLogger(__name__)

NDJSON = "application/x-ndjson"
MEDIA_TYPES = (JSON, NDJSON)
MOST_JOBS = 1000
NAMED = re.compile(rb'"reference"\s*:\s*("(?:[^"\\]|\\.)*")')
LONGEST_LOOKED_AT = 65_536
"""Bytes of a text that is no JSON in which a reference is looked for."""
REFERENCE = asked_field(Job, "reference")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One job of a batch as it came, and in NDJSON the line, from 1, on which it stands."""

    text: bytes
    line: int | None = None

    def parse(self) -> tuple[Any, tuple[Fault, ...]]:
        """Its JSON value, and the faults for which it is none that counts."""
        try:
            value, faults = strict_json.parse(self.text)
        except strict_json.JsonError as error:
            return None, tuple(replace(fault, line=self.line) for fault in error.faults)
        return value, tuple(faults)

    def broken_reference(self) -> str | None:
        """The caller's own name of a job whose text may be no JSON, where one member can be it."""
        found = NAMED.findall(self.text[:LONGEST_LOOKED_AT])
        try:
            return _reference({"reference": json.loads(found[0])}) if len(found) == 1 else None
        except ValueError:
            return None


def entries_of(body: bytes, media_type: str) -> list[Entry]:
    """The jobs of a body, none of them parsed yet; Problem where the whole is none or has too many of them."""
    try:
        entries = list(islice(_lines(body) if media_type == NDJSON else _items(body), MOST_JOBS + 1))
    except strict_json.JsonError as error:
        raise Problem("bad-syntax", *error.faults) from error
    except TypeError as error:
        fault = Fault(code="wrong-type", detail="This value has the wrong type.", expected="an array of jobs", path=())
        raise Problem("invalid-values", fault) from error
    if len(entries) > MOST_JOBS:
        expected = Filled("at most {most} jobs in a call", most=MOST_JOBS)
        fault = Fault(code="wrong-length", detail="Too many jobs.", expected=expected, path=())
        raise Problem("invalid-values", fault)
    return entries


def _items(body: bytes) -> Iterator[Entry]:
    return (Entry(text=text) for text in strict_json.items(body))


def _lines(body: bytes) -> Iterator[Entry]:
    """Blank lines are none, but count as lines when a fault says where it is."""
    return (Entry(text=line, line=number) for number, line in enumerate(io.BytesIO(body), start=1) if line.strip())


def _reference(value: Any) -> str | None:
    """The caller's own name of a job, where it is one that can be sent back."""
    try:
        text: str | None = REFERENCE.deserialize(value["reference"])
        (text or "").encode()
    except (TypeError, KeyError, ValidationError, UnicodeEncodeError):
        return None
    return text


@dataclass
class Progress:
    """How far the answer to a batch has come: `jobs` there are, `begun` of them are answered or under way."""

    jobs: int
    begun: int = 0


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Answers jobs one by one, equal ones once.

    `dump` writes an answer out, `is_gone` tells whether nobody waits any more, `request_id` is told in problems. Each
    job may take `job_limit_s`, all of them together `limit_s`; None is no limit.
    """

    service: Service
    dump: Callable[[Answer], dict[str, Any]]
    is_gone: Callable[[], bool]
    request_id: str | None = None
    language: Language = "en"
    job_limit_s: float | None = None
    limit_s: float | None = None
    schema: StrictSchema = field(default_factory=question_schema(Job))

    def answer(self, entries: list[Entry], progress: Progress, *, start_index: int = 0) -> Iterator[dict[str, Any]]:
        """One line for each job from an index on, as soon as it is computed; BrokenPipeError when nobody waits for it.

        Without asking, the job after the one under way would be computed, too: the kernel takes one line more.
        """
        known: dict[str, Answer] = {}
        ends = time.monotonic() + (self.limit_s or math.inf)
        for index, entry in enumerate(entries[start_index:], start=start_index):
            if self.is_gone():
                raise BrokenPipeError(errno.EPIPE, "the caller of a batch has gone")
            progress.begun += 1
            line: dict[str, Any] = {"index": index, "reference": None}
            try:
                with time_limit(min(self.job_limit_s or math.inf, ends - time.monotonic())):
                    check_time()
                    value, faults = entry.parse()
                    line["reference"] = entry.broken_reference() if value is None else _reference(value)
                    line["result"] = self._result(value, faults, known)
            except Problem as problem:
                line["problem"] = problem.document(request_id=self.request_id, language=self.language)
            except OutOfTime:
                detail = "The time for this job or for the batch was over. Send fewer jobs at once, or try again later."
                line["problem"] = Problem("unavailable", detail=detail).document(
                    request_id=self.request_id, language=self.language
                )
            yield line

    def _result(self, value: Any, faults: tuple[Fault, ...], known: dict[str, Answer]) -> dict[str, Any]:
        if faults:
            raise Problem("bad-syntax", *faults)
        try:
            resolved = resolve_job(decode_value(value, self.schema), self.service)
            key = canonical_job(resolved.job)
            if key not in known:
                known[key] = self._compute(resolved)
            return self.dump(replace(known[key], reference=resolved.job.reference))
        except (Problem, OutOfTime):
            raise
        except QuestionError as error:
            raise Problem("invalid-values", *faults_of(error)) from error
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
