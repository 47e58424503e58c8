"""Answers of which a test tells only what it looks at: the rest is as empty as the contract lets it be."""

from __future__ import annotations

import types
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from sheetmargin.decode import decode

T = TypeVar("T")
EMPTY: Mapping[Any, Any] = {str: "", int: 0, float: 0.0, bool: False}


def whole(kind: Any, told: Any) -> Any:
    """The JSON of a dataclass with what is missing in it, at any depth."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        kind = next((each for each in inner if is_dataclass(each)), inner[0])
        return told if told is None or not isinstance(told, dict | list) else whole(kind, told)
    if origin is Sequence and isinstance(told, list):
        return [whole(inner[0], member) for member in told]
    if not is_dataclass(kind) or not isinstance(told, dict):
        return told
    hints, found = get_type_hints(kind), dict(told)
    for field in fields(kind):
        key = field.metadata.get("key", field.name)
        if key in told:
            found[key] = whole(hints[field.name], told[key])
        elif field.default is MISSING or field.metadata.get("worded"):
            found[key] = _empty(hints[field.name])
    return found


def made(kind: type[T], told: Any) -> T:
    """An answer of a dataclass, of which `told` is the JSON of a part."""
    return decode(kind, whole(kind, told))


def _empty(hint: Any) -> Any:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return None if types.NoneType in inner else _empty(inner[0])
    if origin in (Sequence, Mapping):
        return [] if origin is Sequence else {}
    if origin is Literal:
        return inner[0]
    return whole(hint, {}) if is_dataclass(hint) else EMPTY[hint]
