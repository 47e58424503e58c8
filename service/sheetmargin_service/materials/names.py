"""Finding things by name: exactly, by likeness, and the nearest to a name that does not exist."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process

# Least likeness, of 100, at which a name is found, by the weighted ratio alone and with the plain ratio: below,
# unrelated words pair up.
CUTOFF = 60.0
FLOOR = 50.0
SUGGESTIONS = 3
# Longer queries are cut: no name is longer.
MAX_QUERY = 100
_TRANSLITERATION = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "-": " ", "_": " ", "/": " "})


@dataclass(frozen=True, kw_only=True)
class NameMatch:
    """An id found by one of its names, and how like the query that is (0 to 100)."""

    id: str
    name: str
    score: float


class NameIndex:
    """Ids and all the names that lead to each; ValueError when one name leads to two ids."""

    def __init__(self, names: Mapping[str, Iterable[str]]) -> None:
        self._names: dict[str, tuple[str, str]] = {}
        for item_id, words in names.items():
            for word in (item_id, *words):
                known, _ = self._names.setdefault(normalise(word), (item_id, word))
                if known != item_id:
                    raise ValueError(f"{word!r} names both {known} and {item_id}")

    def resolve(self, name: str) -> str | None:
        """The id that a name stands for, whatever its case; None when there is none."""
        found = self._names.get(normalise(name))
        return found[0] if found else None

    def search(self, query: str, limit: int) -> tuple[NameMatch, ...]:
        """The ids whose names resemble the query, each by its likest name, best first, ties by id."""
        wanted = normalise(query[:MAX_QUERY])
        best: dict[str, NameMatch] = {}
        for key, likeness, _ in process.extract(
            wanted, list(self._names), scorer=fuzz.WRatio, score_cutoff=CUTOFF, limit=None
        ):
            item_id, name = self._names[key]
            # A whole name found outranks the same words inside a longer one, which the weighted ratio scores alike.
            score = (likeness + fuzz.ratio(wanted, key)) / 2
            if score >= FLOOR and (item_id not in best or score > best[item_id].score):
                best[item_id] = NameMatch(id=item_id, name=name, score=score)
        return tuple(sorted(best.values(), key=lambda match: (-match.score, match.id))[:limit])

    def suggest(self, wrong: str) -> tuple[str, ...]:
        """The ids nearest to a name that does not exist, best first; empty when nothing is near."""
        return tuple(match.id for match in self.search(wrong, SUGGESTIONS))


def normalise(name: str) -> str:
    """A name as it is compared: case, hyphens, spaces and the spelling of umlauts do not count."""
    return " ".join(name.casefold().translate(_TRANSLITERATION).split())
