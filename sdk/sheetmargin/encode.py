"""From the dataclasses of a job to the JSON of the contract."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from numbers import Integral, Real
from typing import Any

from sheetmargin.contract.job import Job, Sheet
from sheetmargin.contract.problem import Fault
from sheetmargin.errors import InvalidJob

Question = Job | Sheet | Sequence[Sheet] | Mapping[str, Any]
"""A job; a sheet or several alone, which are a job with every default; or a job by the names of the contract."""


def job_to_json(question: Question) -> bytes:
    """The JSON of a question.

    Raises InvalidJob, without asking the service, for what JSON cannot carry (NaN, infinity, a foreign object).
    """
    if isinstance(question, Sheet):
        question = Job(sheets=(question,))
    elif isinstance(question, Sequence) and not isinstance(question, (str, bytes)):
        question = Job(sheets=question)
    if not isinstance(question, Job | Mapping):
        expected = "a Job, a Sheet, a sequence of Sheets, or a mapping"
        raise _invalid(None, f"{type(question).__name__} is no question", expected)
    return question_to_json(question)


def question_to_json(question: object) -> bytes:
    """The JSON of any question that is a dataclass; raises InvalidJob as `job_to_json` does."""
    text = json.dumps(_encode(question, ""), ensure_ascii=False, allow_nan=False)
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        raise _invalid(None, f"{text[error.start]!r} cannot be written as JSON", "text in Unicode") from error


def _encode(value: object, pointer: str) -> Any:
    # The abstract Integral and Real also admit NumPy's scalars, which json refuses.
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        number = float(value)
        if not math.isfinite(number):
            raise _invalid(pointer, f"{number} is not a finite number", "a finite number, or None for not given")
        return number
    if is_dataclass(value) and not isinstance(value, type):
        members = {field.name: (getattr(value, field.name), field.default) for field in fields(value)}
        return {
            name: _encode(member, f"{pointer}/{name}")
            for name, (member, default) in members.items()
            if member is not None and member != default
        }
    if isinstance(value, Mapping):
        return {str(name): _encode(member, f"{pointer}/{name}") for name, member in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, (bytes, bytearray)):
        return [_encode(member, f"{pointer}/{index}") for index, member in enumerate(value)]
    raise _invalid(pointer, f"{type(value).__name__} cannot be written as JSON", "a number, text, or a part of a job")


def _invalid(pointer: str | None, detail: str, expected: str) -> InvalidJob:
    return InvalidJob(
        "The job was not sent.", errors=[Fault(code="not-json", detail=detail, pointer=pointer, expected=expected)]
    )
