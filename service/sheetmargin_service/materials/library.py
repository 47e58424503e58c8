"""The material library: load, look up, search by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from rapidfuzz import fuzz, process

from sheetmargin_service.materials.entries import read_material
from sheetmargin_service.materials.material import Material
from sheetmargin_service.materials.reading import LibraryError, Reader, load_table, table_names

# Least similarity, of 100, at which a name is offered: below it rapidfuzz's weighted ratio pairs unrelated words.
SEARCH_CUTOFF = 60.0
SUGGESTION_CUTOFF = 55.0
SUGGESTIONS = 3
_TRANSLITERATION = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "-": " ", "_": " ", "/": " "})


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
        self._names: dict[str, tuple[str, str]] = {}
        for material in self.materials.values():
            for name in names_of(material):
                known, _ = self._names.setdefault(normalise(name), (material.id, name))
                if known != material.id:
                    raise LibraryError(f"{name!r} names both {known} and {material.id}")

    def get(self, material_id: str) -> Material:
        """The material of an id; KeyError when there is none."""
        return self.materials[material_id]

    def resolve(self, name: str) -> str | None:
        """The id that a name, synonym or id stands for, whatever its case; None when there is none."""
        found = self._names.get(normalise(name))
        return found[0] if found else None

    def search(self, query: str, limit: int = 20) -> tuple[Match, ...]:
        """Materials whose names resemble the query, best first, ties by id; all of them, by id, for an empty query."""
        wanted = normalise(query)
        if not wanted:
            everything = list(self.materials.values())[:limit]
            return tuple(Match(material=item, name=item.id, score=0.0) for item in everything)
        best: dict[str, Match] = {}
        for key, score, _ in process.extract(
            wanted, list(self._names), scorer=fuzz.WRatio, score_cutoff=SEARCH_CUTOFF, limit=None
        ):
            material_id, name = self._names[key]
            # A whole name found outranks the same words inside a longer one, which the weighted ratio may score alike.
            score = (score + fuzz.ratio(wanted, key)) / 2
            if material_id not in best or score > best[material_id].score:
                best[material_id] = Match(material=self.get(material_id), name=name, score=score)
        ranked = sorted(best.values(), key=lambda match: (-match.score, match.material.id))
        return tuple(ranked[:limit])

    def suggest(self, wrong_id: str) -> tuple[str, ...]:
        """The ids nearest to one that does not exist, best first; empty when nothing is near."""
        return tuple(
            match.material.id for match in self.search(wrong_id[:100], SUGGESTIONS) if match.score >= SUGGESTION_CUTOFF
        )


def names_of(material: Material) -> tuple[str, ...]:
    """The id, the names and the synonyms of a material, in every language."""
    spoken = [*material.name.values(), *(word for words in material.synonyms.values() for word in words)]
    return (material.id, *spoken)


def normalise(name: str) -> str:
    """A name as it is compared: case, hyphens, spaces and the spelling of umlauts do not count."""
    return " ".join(name.casefold().translate(_TRANSLITERATION).split())


def load_sources() -> dict[str, str]:
    """Every source by its key."""
    sources = load_table("sources.toml")
    if not all(isinstance(text, str) and text.strip() for text in sources.values()):
        raise LibraryError("sources.toml: expected texts")
    return sources


@cache
def load_library() -> Library:
    """The library of the package, read and checked once; LibraryError when its data are wrong."""
    sources = load_sources()
    materials: dict[str, Material] = {}
    for name in table_names("materials"):
        for material_id, entry in load_table(name).items():
            if material_id in materials:
                raise LibraryError(f"{name}: {material_id} is given twice")
            materials[material_id] = read_material(
                material_id, Reader(entry, where=f"{name}: {material_id}", sources=sources)
            )
    return Library(materials)
