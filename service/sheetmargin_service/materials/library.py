"""The material library: load, look up, search by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any, TypeVar

from sheetmargin_service.errors import FieldError
from sheetmargin_service.materials.material import Material
from sheetmargin_service.materials.names import NameIndex, normalise
from sheetmargin_service.tables import Where, build, load_table, table_names

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Match:
    """A material found by name: by which of its names, and how like the query (0 to 100)."""

    material: Material
    name: str
    score: float


class Library:
    """Materials by id, with every name that leads to them."""

    def __init__(self, materials: Mapping[str, Material]) -> None:
        self.materials = MappingProxyType(dict(sorted(materials.items())))
        try:
            self._names = NameIndex({item.id: item.names for item in materials.values()})
        except ValueError as error:
            raise FieldError(str(error)) from error

    def get(self, material_id: str) -> Material:
        """The material of an id; KeyError when there is none."""
        return self.materials[material_id]

    def resolve(self, name: str) -> str | None:
        """The id that a name, synonym or id stands for, whatever its case; None when there is none."""
        return self._names.resolve(name)

    def search(self, query: str, limit: int = 20) -> tuple[Match, ...]:
        """Materials whose names resemble the query, best first, ties by id; all of them, by id, for an empty query."""
        if not normalise(query):
            everything = list(self.materials.values())[:limit]
            return tuple(Match(material=item, name=item.id, score=0.0) for item in everything)
        return tuple(
            Match(material=self.get(found.id), name=found.name, score=found.score)
            for found in self._names.search(query, limit)
        )

    def suggest(self, wrong_id: str) -> tuple[str, ...]:
        """The ids nearest to one that does not exist, best first; empty when nothing is near."""
        return self._names.suggest(wrong_id)


@cache
def load_library() -> Library:
    """The library of the package, read and checked once; FieldError when its data are wrong."""
    materials: dict[str, Material] = {}
    for name in table_names(__package__, "data/materials"):
        found = read_entries(Material, load_table(__package__, name), file=name, sources=load_sources())
        if twice := found.keys() & materials.keys():
            raise FieldError(f"{name}: {min(twice)} is given twice")
        materials |= found
    return Library(materials)


def load_sources() -> Mapping[str, str]:
    """Every source by its key."""
    sources = load_table(__package__, "data/sources.toml")
    if not all(isinstance(text, str) and text.strip() for text in sources.values()):
        raise FieldError("sources.toml: expected texts")
    return sources


def read_entries(kind: type[T], table: Mapping[str, Any], *, file: str, sources: Mapping[str, str]) -> dict[str, T]:
    """The things of a table by id, each with its sources written out; FieldError for anything unknown, missing, out of
    bounds or without a source."""
    found = {}
    for item_id, entry in table.items():
        where = Where(f"{file}: {item_id}")
        found[item_id] = build(kind, {"id": item_id, **_with_sources(entry, sources, where)}, where=where)
    return found


def _with_sources(value: Any, sources: Mapping[str, str], where: Where) -> Any:
    if not isinstance(value, dict):
        return value
    written = {key: _with_sources(part, sources, where.key(key)) for key, part in value.items()}
    if "source" in value:
        if value["source"] not in sources:
            raise where.key("source").error(f"{value['source']!r} is not in sources.toml")
        written["source"] = sources[value["source"]]
    return written
