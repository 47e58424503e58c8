"""From the JSON of an answer to the dataclasses of the contract.

Within a version of the contract a service may add fields, so an unknown one is ignored; what has no default must be
there. A word of a closed vocabulary may be a later one: any text is taken for it.
"""

from __future__ import annotations

import json
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import MISSING, fields, is_dataclass, replace
from difflib import get_close_matches
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from sheetmargin.contract.problem import Fault
from sheetmargin.contract.shown import Shown
from sheetmargin.contract.summary import Summary
from sheetmargin.errors import InvalidJob, UnexpectedAnswer

T = TypeVar("T")


def read_json(kind: type[T], text: str | bytes) -> T:
    """The dataclass that a text in JSON tells. Of a question every name has to be known, or InvalidJob says which is
    not: it is written by hand."""
    asked = not issubclass(kind, Shown | Summary)
    try:
        data = json.loads(text)
        found = decode(kind, data)
    except (ValueError, UnexpectedAnswer) as error:
        raise (InvalidJob if asked else UnexpectedAnswer)(f"This is no {kind.__name__}: {error}") from error
    if asked:
        _refuse_unknown(found, data, "")
    return found


def _refuse_unknown(found: object, data: Any, pointer: str) -> None:
    if isinstance(data, list) and isinstance(found, Sequence):
        for index, (inner, value) in enumerate(zip(found, data, strict=True)):
            _refuse_unknown(inner, value, f"{pointer}/{index}")
    if not is_dataclass(found) or not isinstance(data, dict):
        return
    known = [field.name for field in fields(found)]
    for name, value in data.items():
        if name not in known:
            near = tuple(get_close_matches(name, known, n=3))
            fault = Fault(code="unknown-field", detail="There is no such field.", pointer=f"{pointer}/{name}")
            raise InvalidJob("This is no question.", errors=[replace(fault, suggestions=near)])
        _refuse_unknown(getattr(found, name), value, f"{pointer}/{name}")


def decode(kind: type[T], data: object, pointer: str = "") -> T:
    """`data`, parsed JSON, as an instance of the dataclass `kind`. Raises UnexpectedAnswer naming the place."""
    if not isinstance(data, dict):
        raise _unexpected(pointer, "an object", data)
    members: dict[str, Any] = {}
    for name, key, hint, needed in _members(cast(Hashable, kind)):
        if key in data:
            members[name] = _value(hint, data[key], f"{pointer}/{key}")
        elif needed:
            raise UnexpectedAnswer(f"The answer does not follow the contract: {pointer}/{key} is missing.")
    return kind(**members)


@cache
def _members(kind: Any) -> tuple[tuple[str, str, Any, bool], ...]:
    """Name, JSON key and type of each field, and whether an answer must have it."""
    hints = get_type_hints(kind)
    return tuple(
        (
            field.name,
            field.metadata.get("key", field.name),
            hints[field.name],
            field.default is MISSING or bool(field.metadata.get("always")),
        )
        for field in fields(kind)
    )


def _value(hint: Any, data: object, pointer: str) -> Any:
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        if data is None and NoneType in arguments:
            return None
        kinds = [argument for argument in arguments if argument is not NoneType]
        if len(kinds) > 1 and all(map(is_dataclass, kinds)):
            return _by_type(kinds, data, pointer, optional=NoneType in arguments)
        return _one_of(kinds, data, pointer)
    if origin is Sequence:
        if not isinstance(data, list):
            raise _unexpected(pointer, "a list", data)
        return tuple(_value(arguments[0], member, f"{pointer}/{index}") for index, member in enumerate(data))
    if origin is Mapping:
        if not isinstance(data, dict):
            raise _unexpected(pointer, "an object", data)
        return {key: _value(arguments[1], member, f"{pointer}/{key}") for key, member in data.items()}
    return _plain(type(arguments[0]) if origin is Literal else hint, data, pointer)


def _by_type(kinds: list[Any], data: object, pointer: str, *, optional: bool) -> Any:
    """The dataclass of the object's `type`; None for one of a later service."""
    if not isinstance(data, dict):
        raise _unexpected(pointer, "an object", data)
    for kind in kinds:
        if kind.type == data.get("type"):
            return decode(kind, data, pointer)
    if optional and isinstance(data.get("type"), str):
        return None
    raise _unexpected(f"{pointer}/type", "a known type", data.get("type"))


def _one_of(kinds: list[Any], data: object, pointer: str) -> Any:
    """The only kind there is; else an object as the dataclass among the kinds, and a plain value as it is."""
    if len(kinds) == 1:
        return _value(kinds[0], data, pointer)
    for kind in kinds:
        if is_dataclass(kind) and isinstance(data, dict):
            return decode(cast("type[object]", kind), data, pointer)
    if isinstance(data, (dict, list)):
        raise _unexpected(pointer, "a single value", data)
    return data


def _plain(kind: Any, data: object, pointer: str) -> Any:
    if kind in (int, float):
        if isinstance(data, bool) or not isinstance(data, (int, float)):
            raise _unexpected(pointer, "a number", data)
        return data
    if kind in (str, bool):
        if not isinstance(data, kind):
            raise _unexpected(pointer, "text" if kind is str else "true or false", data)
        return data
    return decode(kind, data, pointer)


def _unexpected(pointer: str, expected: str, data: object) -> UnexpectedAnswer:
    shown = repr(data)
    shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
    return UnexpectedAnswer(f"The answer does not follow the contract: {pointer or '/'} is {shown}, not {expected}.")
