"""The material library: load, look up, search by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from sheetmargin_service.errors import FieldError
from sheetmargin_service.materials.entries import read_material
from sheetmargin_service.materials.material import Material
from sheetmargin_service.materials.names import NameIndex, normalise, spoken_names
from sheetmargin_service.materials.reading import Reader, load_sources
from sheetmargin_service.tables import load_table, table_names


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
            self._names = NameIndex({item.id: spoken_names(item.name, item.synonyms) for item in materials.values()})
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
    sources = load_sources()
    materials: dict[str, Material] = {}
    for name in table_names(__package__, "data/materials"):
        for material_id, entry in load_table(__package__, name).items():
            if material_id in materials:
                raise FieldError(f"{name}: {material_id} is given twice")
            materials[material_id] = read_material(
                material_id, Reader(entry, where=f"{name}: {material_id}", sources=sources)
            )
    return Library(materials)
