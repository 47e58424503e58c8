"""From a table of plain values to frozen dataclasses, every key and type checked against the dataclass's own hints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

T = TypeVar("T")

LARGEST = 1e15
"""No parameter is larger; NaN is not smaller either."""

_SPOKEN = {str: "a text", float: "a number", int: "a whole number", bool: "true or false", tuple: "a list"}


class CatalogueError(ValueError):
    """A table that does not describe detector classes: which key, what is wrong, what would be right."""


def build(kind: type[T], values: Any, *, where: str) -> T:
    """A `kind` of a table's values; CatalogueError names `where` and the key that is unknown, missing, of the wrong
    type, or against the rules of `kind.problems()`."""
    if not isinstance(values, Mapping):
        raise CatalogueError(f"{where}: expected a table, got {values!r}")
    hints = get_type_hints(kind)
    known = {field.name: field for field in fields(kind)}  # type: ignore[arg-type]
    unknown = sorted(set(values) - set(known))
    if unknown:
        raise CatalogueError(f"{where}: unknown key {unknown[0]!r}; expected some of {sorted(known)}")
    missing = sorted(name for name, field in known.items() if field.default is MISSING and name not in values)
    if missing:
        raise CatalogueError(f"{where}: missing key {missing[0]!r}")
    built = {name: _value(hints[name], value, where=f"{where} {name}") for name, value in values.items()}
    result = kind(**built)
    problems: list[str] = result.problems()  # type: ignore[attr-defined]
    if problems:
        raise CatalogueError(f"{where}: expected {problems[0]}")
    return result


def _value(hint: Any, value: Any, *, where: str) -> Any:
    """One value by its type hint: plain types, Literal, an optional type, a tuple of one type, a dataclass."""
    if get_origin(hint) is UnionType:
        options = [option for option in get_args(hint) if option is not NoneType]
        if (value is None and NoneType in get_args(hint)) or (
            is_dataclass(value) and isinstance(value, tuple(options))
        ):
            return value
        return _value(options[0], value, where=where)
    if get_origin(hint) is Literal:
        if value not in get_args(hint):
            raise CatalogueError(f"{where}: expected one of {list(get_args(hint))}, got {value!r}")
        return value
    if get_origin(hint) is tuple:
        if not isinstance(value, list | tuple):
            raise CatalogueError(f"{where}: expected a list, got {value!r}")
        return tuple(_value(get_args(hint)[0], item, where=f"{where}[{index}]") for index, item in enumerate(value))
    if is_dataclass(hint) and isinstance(hint, type):
        return build(hint, value, where=where)
    accepted = (int, float) if hint is float else (hint,)
    if not isinstance(value, accepted) or (isinstance(value, bool) and hint is not bool):
        raise CatalogueError(f"{where}: expected {_SPOKEN[hint]}, got {value!r}")
    if hint in (int, float) and not abs(value) <= LARGEST:
        raise CatalogueError(f"{where}: expected a finite number, got {value!r}")
    return value
