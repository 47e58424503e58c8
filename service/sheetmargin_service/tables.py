"""Tables (TOML, as the package ships them and owners write them): from files to frozen dataclasses.

Every key, type and bound is checked against the dataclass: its hints, the bounds in its fields' metadata
(`contract.fields.about`: a field's bounds hold for all numbers below it) and its own `problems()`. A dataclass may have
`from_table(value)`, which writes out a short form.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from functools import cache
from importlib import resources
from operator import ge, gt, le, lt
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from sheetmargin_service.errors import FieldError

T = TypeVar("T")

LARGEST = 1e15
"""No parameter is larger; NaN is not smaller either."""

NOT_IN_TABLES: Mapping[str, bool] = {"in_tables": False}
"""Metadata of a field that the service fills in and no table may give."""

_BOUNDS = {"gt": ("above", gt), "ge": ("at least", ge), "lt": ("below", lt), "le": ("at most", le)}
_SPOKEN = {str: "a text", float: "a number", int: "a whole number", bool: "true or false"}


def load_table(package: str, name: str) -> dict[str, Any]:
    """A table by its path below a package's folder (`data/threads.toml`); FieldError where it is no TOML."""
    try:
        return tomllib.loads(read_text(package, name))
    except tomllib.TOMLDecodeError as error:
        raise FieldError(f"{name}: {error}") from error


def read_text(package: str, name: str) -> str:
    """A file by its path below a package's folder."""
    return (resources.files(package) / name).read_text(encoding="utf-8")


def table_names(package: str, folder: str) -> list[str]:
    """Paths of the tables in a folder below a package's, sorted."""
    entries = (resources.files(package) / folder).iterdir()
    return sorted(f"{folder}/{entry.name}" for entry in entries if entry.name.endswith(".toml"))


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


def build(kind: type[T], values: Any, *, where: Where, bounds: Mapping[str, Any] | None = None) -> T:
    """A `kind` of a table's values; FieldError names `where` and the key that is unknown, missing, of the wrong
    type, out of bounds, or against the rules of `kind.problems()`."""
    written_out: Any = getattr(kind, "from_table", None)
    if written_out:
        try:
            values = written_out(values)
        except FieldError as short:
            raise where.error(str(short)) from short
    if not isinstance(values, Mapping):
        raise where.error(f"expected a table, got {values!r}")
    hints = _hints(kind)  # type: ignore[arg-type]
    known = table_fields(kind)
    unknown = sorted(set(values) - set(known))
    if unknown:
        error = where.error(f"unknown key {unknown[0]!r}; expected some of {sorted(known)}")
        raise FieldError(str(error), (*where.path, unknown[0]))
    missing = sorted(name for name, field in known.items() if _needed(field) and name not in values)
    if missing:
        raise where.error(f"missing key {missing[0]!r}")
    built = {
        name: _value(hints[name], value, where=where.key(name), bounds={**(bounds or {}), **known[name].metadata})
        for name, value in values.items()
    }
    result = kind(**built)
    problems: list[str] = result.problems() if hasattr(result, "problems") else []
    if problems:
        broken = [name for name in re.findall(r"\w+", problems[0]) if name in values]
        raise FieldError(f"{where.words}: expected {problems[0]}", (*where.path, *broken[:1]))
    return result


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _needed(field: Field[Any]) -> bool:
    return field.default is MISSING and field.default_factory is MISSING


def _value(hint: Any, value: Any, *, where: Where, bounds: Mapping[str, Any]) -> Any:
    """One value by its type hint: plain types, Literal, an optional type, a tuple of one type, names of one type, a
    dataclass, or that one of several which knows all the keys."""
    if is_dataclass(value):
        # Built before; no table holds one.
        return value
    if get_origin(hint) is UnionType:
        options = [option for option in get_args(hint) if option is not NoneType]
        if value is None and NoneType in get_args(hint):
            return None
        fitting = [option for option in options if len(options) > 1 and set(value) <= set(table_fields(option))]
        return _value((fitting or options)[0], value, where=where, bounds=bounds)
    if get_origin(hint) is Literal:
        if value not in get_args(hint):
            raise where.error(f"expected one of {list(get_args(hint))}, got {value!r}")
        return value
    if get_origin(hint) is dict:
        if not isinstance(value, Mapping):
            raise where.error(f"expected a table, got {value!r}")
        inner = get_args(hint)[1]
        return {name: _value(inner, item, where=where.key(name), bounds=bounds) for name, item in value.items()}
    if get_origin(hint) in (tuple, Sequence):
        if not isinstance(value, list | tuple):
            raise where.error(f"expected a list, got {value!r}")
        inner = get_args(hint)[0]
        return tuple(_value(inner, item, where=where.item(i), bounds=bounds) for i, item in enumerate(value))
    if is_dataclass(hint) and isinstance(hint, type):
        return build(hint, value, where=where, bounds=bounds)
    accepted = (int, float) if hint is float else (hint,)
    if not isinstance(value, accepted) or (isinstance(value, bool) and hint is not bool):
        raise where.error(f"expected {_SPOKEN[hint]}, got {value!r}")
    if hint in (int, float):
        _check_number(value, where=where, bounds=bounds)
    return value


def _check_number(value: float, *, where: Where, bounds: Mapping[str, Any]) -> None:
    if not abs(value) <= LARGEST:
        raise where.error(f"expected a finite number, got {value!r}")
    for name, (words, holds) in _BOUNDS.items():
        if name in bounds and not holds(value, bounds[name]):
            raise where.error(f"expected {words} {bounds[name]:g}, got {value!r}")
