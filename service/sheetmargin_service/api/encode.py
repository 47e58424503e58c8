"""From what was computed to the JSON of the contract: its names, rounded, its texts in the language asked for.

One encoder a dataclass, compiled from the contract when it is first needed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from sheetmargin.contract.answer import ClassSummary, SheetSummary
from sheetmargin.contract.job import Job, Sheet
from sheetmargin.contract.notes import NotServed

from sheetmargin_service.api.canonical import canonical_job
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.messages.names import (
    Reader,
    detector_called,
    detector_name,
    made_of,
    principle_name,
    source_told,
)
from sheetmargin_service.messages.say import say

Encode = Callable[[Any, Reader], Any]


def json_bytes(value: Any) -> bytes:
    """JSON as it is sent, compact UTF-8; ValueError for NaN or infinity, which would be a fault of this service."""
    return json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":")).encode()


def encode(answer: object, *, language: Language) -> dict[str, Any]:
    """A dataclass of the contract as JSON-ready values, its texts in the language."""
    encoded: dict[str, Any] = _record(cast(Hashable, type(answer)))(answer, Reader(language=language))
    return encoded


@cache
def _record(kind: Any) -> Encode:
    """How a dataclass is written. A job and a sheet within an answer are written as they may be asked again."""
    if kind is Job:
        return lambda job, _: json.loads(canonical_job(job))
    if kind is Sheet:
        return lambda sheet, _: given(sheet)
    hints = get_type_hints(kind)
    members = tuple(
        (field.name, field.metadata.get("key", field.name), _value(hints[field.name], field.metadata))
        for field in fields(kind)
        if not field.metadata.get("worded")
    )
    worded = [field.name for field in fields(kind) if field.metadata.get("worded")]
    tells_sheets = hints.get("sheets") == Sequence[SheetSummary]

    def record(found: Any, reader: Reader) -> dict[str, Any]:
        if tells_sheets:
            reader = replace(reader, sheets=found.sheets)
        written = {key: value(getattr(found, name), reader) for name, key, value in members}
        for name in worded:
            written[name] = _words(found, name, reader)
        return written

    return record


def _words(found: Any, name: str, reader: Reader) -> str:
    """What a part of an answer says of itself."""
    if name == "language":
        return reader.language
    if name == "principle_name":
        return principle_name(found.principle, reader.language)
    if isinstance(found, SheetSummary):
        return made_of(found, reader.language)
    if isinstance(found, ClassSummary):
        return detector_name(found, reader.language)
    text = say(found.code, found.values, reader=reader, pointer=getattr(found, "pointer", None))
    if isinstance(found, NotServed) and (kind := found.values.get("detector")):
        name = detector_called(str(kind), cast("float | None", found.values["frequency_khz"]), reader.language)
        return f"{text.removesuffix('.')} ({name})."
    return text


def _value(hint: Any, told: Mapping[str, Any]) -> Encode:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        some = [each for each in inner if each is not NoneType]
        one = _value(some[0], told) if len(some) == 1 else _any_of(some, told)
        return lambda value, reader: None if value is None else one(value, reader)
    if origin is Sequence:
        member = _value(inner[0], told)
        return lambda value, reader: [member(each, reader) for each in value]
    if origin is Mapping:
        member = _value(inner[1], told)
        return lambda value, reader: {name: member(each, reader) for name, each in value.items()}
    if is_dataclass(hint):
        return _record(cast(Hashable, hint))
    if hint is float:
        return _number(told)
    if told.get("cited"):
        return lambda value, reader: source_told(value, reader.language)
    kind = type(inner[0]) if origin is Literal else hint
    return lambda value, _: kind(value)


def _any_of(kinds: Sequence[Any], told: Mapping[str, Any]) -> Encode:
    """One of several parts, or a single value, whichever it is."""
    records = {kind: _record(cast(Hashable, kind)) for kind in kinds if is_dataclass(kind)}
    if len(records) == len(kinds):
        return lambda value, reader: records[type(value)](value, reader)
    number = _number(told)

    def either(value: Any, reader: Reader) -> Any:
        if type(value) in records:
            return records[type(value)](value, reader)
        value = value.item() if hasattr(value, "item") else value
        return number(value, reader) if isinstance(value, float) else value

    return either


def _number(told: Mapping[str, Any]) -> Encode:
    """Rounded to the field's decimals or digits; adding zero turns -0.0 into 0.0."""
    if "decimals" in told:
        decimals: int = told["decimals"]
        return lambda value, _: round(float(value), decimals) + 0.0
    digits: int = told["digits"]
    return lambda value, _: float(f"{value:.{digits}g}") + 0.0


def given(asked: Any) -> dict[str, Any]:
    """The fields of a question, or of a part of one, that differ from their defaults, at any depth."""
    found = {field.name: (getattr(asked, field.name), field.default) for field in fields(asked)}
    return {name: _plain(item) for name, (item, default) in found.items() if item is not None and item != default}


def _plain(item: Any) -> Any:
    if is_dataclass(item):
        return given(item)
    return [_plain(inner) for inner in item] if isinstance(item, Sequence) and not isinstance(item, str) else item
