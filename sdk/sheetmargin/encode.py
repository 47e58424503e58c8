"""From the dataclasses of a job to the JSON of the contract."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from decimal import Decimal
from numbers import Integral, Real
from typing import Any

from sheetmargin.contract.job import Job, Sheet
from sheetmargin.contract.problem import Fault
from sheetmargin.contract.shown import Shown
from sheetmargin.contract.summary import Summary
from sheetmargin.errors import InvalidJob

Question = Job | Sheet | Sequence[Sheet] | Mapping[str, Any]
"""A job; a sheet or several alone, which are a job with every default; or a job by the names of the contract."""

PINT_UNITS = {
    "%": "percent",
    "degrees C": "degC",
    "pt": "thou",
    "per million": "ppm",
    "g/m2": "g/m**2",
    "kg/m3": "kg/m**3",
}
"""What pint calls the units of the contract, where it has another name."""


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
    return _written(_encode(question, ""))


def record_to_json(record: object) -> bytes:
    """The JSON of a question without what is at its default, of an answer whole."""
    return _written(_whole(record)) if isinstance(record, Shown | Summary) else question_to_json(record)


def _whole(value: object) -> Any:
    if is_dataclass(value):
        return {field.metadata.get("key", field.name): _whole(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {name: _whole(member) for name, member in value.items()}
    return [_whole(member) for member in value] if isinstance(value, (list, tuple)) else value


def _written(value: object) -> bytes:
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    try:
        return text.encode()
    except UnicodeEncodeError as error:
        raise _invalid(None, f"{text[error.start]!r} cannot be written as JSON", "text in Unicode") from error


def _encode(value: object, pointer: str) -> Any:
    # The abstract Integral and Real also admit NumPy's scalars, which json refuses.
    if value is None or isinstance(value, (str, bool)):
        return value
    if type(value).__name__ in ("bool", "bool_"):
        return bool(value)  # NumPy's, which is no Integral
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real | Decimal):
        number = float(value)
        if not math.isfinite(number):
            raise _invalid(pointer, f"{number} is not a finite number", "a finite number, or None for not given")
        return number
    if is_dataclass(value) and not isinstance(value, type):
        members: dict[str, Any] = {}
        for field in fields(value):
            place, member = f"{pointer}/{field.name}", getattr(value, field.name)
            member = _in_unit(member, field.metadata.get("unit", ""), place)
            if not _is_missing(member) and member != field.default:
                members[field.name] = _encode(member, place)
        return members
    if isinstance(value, Mapping):
        given = {str(name): member for name, member in value.items() if member is None or not _is_missing(member)}
        return {name: _encode(member, f"{pointer}/{name}") for name, member in given.items()}
    if isinstance(value, Sequence) and not isinstance(value, (bytes, bytearray)):
        return [_encode(member, f"{pointer}/{index}") for index, member in enumerate(value)]
    raise _invalid(pointer, f"{type(value).__name__} cannot be written as JSON", "a number, text, or a part of a job")


def _is_missing(value: object) -> bool:
    """None, and what a table has for an empty cell: NaN is no equal of itself, nor is NaT; pandas' NA has no truth."""
    if value is None or type(value).__name__ in ("NAType", "NaTType"):
        return True
    return isinstance(value, Real | Decimal) and value != value


def _in_unit(value: object, unit: str, pointer: str) -> object:
    """A quantity of pint as a number in the field's unit; anything else as it is."""
    if not hasattr(value, "magnitude") or not hasattr(value, "to"):
        return value
    try:
        return value.to(PINT_UNITS.get(unit, unit) or "dimensionless").magnitude
    except Exception as error:
        # DimensionalityError, and what a registry does not know: pint need not be here to name them.
        raise _invalid(pointer, f"{value} cannot be told in {unit or 'a plain number'}: {error}", unit) from error


def _invalid(pointer: str | None, detail: str, expected: str) -> InvalidJob:
    return InvalidJob(
        "The job was not sent.", errors=[Fault(code="not-json", detail=detail, pointer=pointer, expected=expected)]
    )
