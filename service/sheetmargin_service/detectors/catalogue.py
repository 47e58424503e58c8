"""Catalogues: named, versioned sets of detector classes read from a table."""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sheetmargin_service.detectors.filling import fill
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.detectors.parameters import Kinds
from sheetmargin_service.detectors.source_lines import Syntax, line_of
from sheetmargin_service.errors import FieldError
from sheetmargin_service.tables import Where, build

SECTIONS = {"$schema": str, "source": str, "defaults": dict, "class": list}
"""What a catalogue's table may hold at its top, and of what type. An editor reads `$schema`, the service does not."""
MOST_CLASSES = 200
REFERENCE = "reference"
"""Name of the catalogue that ships with the service."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}", re.ASCII)


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """Detector classes that one answer may draw on. `version` is a hash of the content."""

    name: str
    version: str
    classes: tuple[DetectorClass, ...]


def is_name(text: str) -> bool:
    """Whether a text can name a catalogue or a class: letters, digits, dots, hyphens, underlines."""
    return _NAME.fullmatch(text) is not None


def parse_catalogue(
    *, name: str, text: str, kinds: Kinds, syntax: Syntax = "toml", reference: Sequence[DetectorClass] = ()
) -> Catalogue:
    """Read a catalogue from text; FieldError names the line, the class and the key that is wrong.

    `kinds`: the principles that its classes may have. Parameters that a class does not give are taken from the nearest
    class of `reference`.
    """
    where = Where(f"catalogue {name}")
    table = _read(text, syntax=syntax, where=where)
    try:
        classes = _classes(table, kinds=kinds, reference=reference, where=where)
    except FieldError as error:
        path = _as_written(error.path, table)
        line = line_of(path, text=text, syntax=syntax)
        raise FieldError(f"{error}" if line is None else f"line {line}: {error}", path) from error
    content = json.dumps({key: value for key, value in table.items() if key != "$schema"}, sort_keys=True, default=str)
    return Catalogue(name=name, version=hashlib.sha256(content.encode()).hexdigest()[:16], classes=classes)


def _read(text: str, *, syntax: Syntax, where: Where) -> dict[str, Any]:
    try:
        table = tomllib.loads(text) if syntax == "toml" else _load_json(text)
    except ValueError as error:
        raise where.error(str(error)) from error
    if not isinstance(table, dict):
        raise where.error(f"expected an object with {sorted(SECTIONS)}")
    return table


def _load_json(text: str) -> Any:
    def members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        twice = [name for name, count in Counter(name for name, _ in pairs).items() if count > 1]
        if twice:
            raise ValueError(f"the key {twice[0]!r} is given more than once in one object")
        return dict(pairs)

    def constant(name: str) -> None:
        raise ValueError(f"{name} is not JSON")

    try:
        return json.loads(text, object_pairs_hook=members, parse_constant=constant)
    except RecursionError:
        raise ValueError("nested too deeply") from None


def _classes(
    table: Mapping[str, Any], *, kinds: Kinds, reference: Sequence[DetectorClass], where: Where
) -> tuple[DetectorClass, ...]:
    for key, value in table.items():
        if key not in SECTIONS or not isinstance(value, SECTIONS[key]):
            error = where.error(f"unknown or misplaced {key!r}; expected {sorted(SECTIONS)}")
            raise FieldError(str(error), (key,))
    entries = table.get("class", [])
    if len(entries) > MOST_CLASSES:
        raise FieldError(f"{where.words}: expected at most {MOST_CLASSES} classes, got {len(entries)}", ("class",))
    classes = tuple(
        _class(entry, index=i, table=table, kinds=kinds, reference=reference) for i, entry in enumerate(entries)
    )
    ids = [c.id for c in classes]
    for index, class_id in enumerate(ids):
        if class_id in ids[:index]:
            raise FieldError(
                f"{where.words}: expected at least one class and no id twice, got {class_id} twice", ("class", index)
            )
    if not ids:
        raise where.error("expected at least one class and no id twice, got none")
    return classes


def _class(
    entry: Any, *, index: int, table: Mapping[str, Any], kinds: Kinds, reference: Sequence[DetectorClass]
) -> DetectorClass:
    place: tuple[str | int, ...] = ("class", index)
    if not isinstance(entry, Mapping) or not isinstance(entry.get("id"), str):
        raise FieldError(f"class number {index + 1}: expected a table with a text 'id'", place)
    where = Where(f"class {entry['id']}", place)
    if not is_name(entry["id"]):
        raise where.key("id").error("expected letters, digits, dots, hyphens and underlines, 80 at most")
    values = {"source": table.get("source", ""), **table.get("defaults", {}), **entry}
    principle = values.get("principle")
    if not isinstance(principle, str) or principle not in kinds:
        error = where.error(f"unknown principle {principle!r}; expected one of {sorted(kinds)}")
        raise FieldError(str(error), (*place, "principle"))
    given, filled = values.get("parameters", {}), None
    if isinstance(given, Mapping):
        housing = values.get("housing")
        width_mm = housing.get("width_mm") if isinstance(housing, Mapping) else None
        filling = fill(principle, given, width_mm=width_mm, among=reference)
        given, filled = filling.values, filling.filled
    try:
        parameters = build(kinds[principle].parameters, given, where=where.key("parameters"))
    except FieldError as error:
        taken = filled.parameters if filled else ()
        about = [name for name in re.findall(r"\w+", str(error)) if name in taken]
        if filled is None or not about:
            raise
        told = f"{error} ({', '.join(about)} not given, so taken from {filled.reference_class})"
        raise FieldError(told, error.path) from error
    demands = values.get("demands", {})
    if isinstance(demands, Mapping):
        demands = {**vars(kinds[principle].demands), **demands}
    built = build(DetectorClass, {**values, "parameters": parameters, "demands": demands}, where=where)
    return replace(built, filled=filled)


def _as_written(path: tuple[str | int, ...], table: Mapping[str, Any]) -> tuple[str | int, ...]:
    """The path of what is wrong with a class, or of the default that it took it from."""
    match path:
        case ("class", int(index), str(key), *rest) if key not in table["class"][index]:
            return ("defaults", key, *rest) if key in table.get("defaults", {}) else ("class", index)
    return path
