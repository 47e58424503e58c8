"""Catalogues: named, versioned sets of detector classes read from a table."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from sheetmargin_service.detectors.building import CatalogueError, build
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.detectors.parameters import PARAMETERS

__all__ = ["Catalogue", "CatalogueError", "parse_catalogue", "reference_catalogue"]

SECTIONS = {"source": str, "defaults": dict, "class": list}
"""What a catalogue's table may hold at its top, and of what type."""


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """Detector classes that one answer may draw on. `version` is a hash of the content."""

    name: str
    version: str
    classes: tuple[DetectorClass, ...]


def _class(entry: Any, *, number: int, defaults: Mapping[str, Any], source: str) -> DetectorClass:
    if not isinstance(entry, Mapping) or not isinstance(entry.get("id"), str):
        raise CatalogueError(f"class number {number}: expected a table with a text 'id'")
    where = f"class {entry['id']}"
    values = {"source": source, **defaults, **entry}
    principle = values.get("principle")
    if not isinstance(principle, str) or principle not in PARAMETERS:
        raise CatalogueError(f"{where}: unknown principle {principle!r}; expected one of {sorted(PARAMETERS)}")
    parameters = build(PARAMETERS[principle], values.get("parameters", {}), where=f"{where} parameters")
    return build(DetectorClass, {**values, "parameters": parameters}, where=where)


def parse_catalogue(*, name: str, text: str) -> Catalogue:
    """Read a catalogue from TOML text; CatalogueError names the line, or the class and key, that is wrong."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CatalogueError(f"catalogue {name}: {error}") from error
    for key, value in table.items():
        if key not in SECTIONS or not isinstance(value, SECTIONS[key]):
            raise CatalogueError(f"catalogue {name}: unknown or misplaced {key!r}; expected {sorted(SECTIONS)}")
    classes = tuple(
        _class(entry, number=number, defaults=table.get("defaults", {}), source=table.get("source", ""))
        for number, entry in enumerate(table.get("class", []), start=1)
    )
    ids = [c.id for c in classes]
    if not ids or len(set(ids)) != len(ids):
        raise CatalogueError(f"catalogue {name}: expected at least one class and no id twice, got {ids}")
    return Catalogue(name=name, version=hashlib.sha256(text.encode()).hexdigest()[:16], classes=classes)


@cache
def reference_catalogue() -> Catalogue:
    """The illustrative classes that ship with the service."""
    folder = resources.files(__package__) / "data"
    return parse_catalogue(name="reference", text=(folder / "reference.toml").read_text(encoding="utf-8"))
