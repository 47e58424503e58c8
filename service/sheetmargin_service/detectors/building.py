"""From a table of plain values to frozen dataclasses, every key and type checked against the dataclass's own hints."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from sheetmargin_service.errors import FieldError

T = TypeVar("T")

LARGEST = 1e15
"""No parameter is larger; NaN is not smaller either."""

NOT_IN_TABLES: Mapping[str, bool] = {"in_tables": False}
"""Metadata of a field that the service fills in and no table may give."""

_SPOKEN = {str: "a text", float: "a number", int: "a whole number", bool: "true or false", tuple: "a list"}


@dataclass(frozen=True)
class Where:
    """A place in a table, in words and by its keys and list positions from the root."""

    words: str
    path: tuple[str | int, ...] = ()

    def key(self, name: str) -> Where:
        return Where(f"{self.words} {name}", (*self.path, name))

    def item(self, index: int) -> Where:
        return Where(f"{self.words}[{index}]", (*self.path, index))

    def error(self, detail: str) -> FieldError:
        return FieldError(f"{self.words}: {detail}", self.path)


def table_fields(kind: type[Any]) -> dict[str, Field[Any]]:
    """The fields of a dataclass that a table may give, by name."""
    return {field.name: field for field in fields(kind) if field.metadata.get("in_tables", True)}


def build(kind: type[T], values: Any, *, where: Where) -> T:
    """A `kind` of a table's values; FieldError names `where` and the key that is unknown, missing, of the wrong
    type, or against the rules of `kind.problems()`."""
    if not isinstance(values, Mapping):
        raise where.error(f"expected a table, got {values!r}")
    hints = get_type_hints(kind)
    known = table_fields(kind)
    unknown = sorted(set(values) - set(known))
    if unknown:
        error = where.error(f"unknown key {unknown[0]!r}; expected some of {sorted(known)}")
        raise FieldError(str(error), (*where.path, unknown[0]))
    missing = sorted(name for name, field in known.items() if _needed(field) and name not in values)
    if missing:
        raise where.error(f"missing key {missing[0]!r}")
    built = {name: _value(hints[name], value, where=where.key(name)) for name, value in values.items()}
    result = kind(**built)
    problems: list[str] = result.problems()  # type: ignore[attr-defined]
    if problems:
        broken = [name for name in re.findall(r"\w+", problems[0]) if name in values]
        raise FieldError(f"{where.words}: expected {problems[0]}", (*where.path, *broken[:1]))
    return result


def _needed(field: Field[Any]) -> bool:
    return field.default is MISSING and field.default_factory is MISSING


def _value(hint: Any, value: Any, *, where: Where) -> Any:
    """One value by its type hint: plain types, Literal, an optional type, a tuple of one type, a dataclass."""
    if is_dataclass(value):
        # Built before; no table holds one.
        return value
    if get_origin(hint) is UnionType:
        options = [option for option in get_args(hint) if option is not NoneType]
        return None if value is None and NoneType in get_args(hint) else _value(options[0], value, where=where)
    if get_origin(hint) is Literal:
        if value not in get_args(hint):
            raise where.error(f"expected one of {list(get_args(hint))}, got {value!r}")
        return value
    if get_origin(hint) is tuple:
        if not isinstance(value, list | tuple):
            raise where.error(f"expected a list, got {value!r}")
        return tuple(_value(get_args(hint)[0], item, where=where.item(index)) for index, item in enumerate(value))
    if is_dataclass(hint) and isinstance(hint, type):
        return build(hint, value, where=where)
    accepted = (int, float) if hint is float else (hint,)
    if not isinstance(value, accepted) or (isinstance(value, bool) and hint is not bool):
        raise where.error(f"expected {_SPOKEN[hint]}, got {value!r}")
    if hint in (int, float) and not abs(value) <= LARGEST:
        raise where.error(f"expected a finite number, got {value!r}")
    return value
