"""What a column of a table is by its name: `Dicke [mm]`, `GRAMMAGE (gsm)`, `épaisseur mm` or a field's own name."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from sheetmargin.tables.columns import columns
from sheetmargin.tables.units import converts, unit_of

BRACKETS = re.compile(r"^(?P<name>.*?)\s*[\[(](?P<unit>[^\])]+)[\])]\s*$", re.DOTALL)
REMARK = "remark"
"""In brackets stands something else than a unit."""
LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ø": "oe", "æ": "ae"})


@dataclass(frozen=True, kw_only=True)
class Meaning:
    """The field that a column's cells fill, and the unit of those that tell none; None where each has to tell it."""

    field: str
    unit: str | None

    def __str__(self) -> str:
        own = columns()[self.field].unit
        return self.field if self.unit in (None, own) else f"{self.field} {self.unit}"


def meaning_of(header: str) -> Meaning | None:
    """The meaning of a name, or None for a column that is the owner's own."""
    plain = header.strip()
    for name in (plain, plain.casefold()):
        if name in columns():
            return Meaning(field=name, unit=columns()[name].unit)
    for name, unit in _readings(plain):
        for field, own in _names().get(_folded(name), ()):
            needed = columns()[field].unit
            if not needed and unit in ("", REMARK):
                return Meaning(field=field, unit="")
            if not unit:
                return Meaning(field=field, unit=own or None)
            if converts(unit, to=needed):
                return Meaning(field=field, unit=unit)
    return None


def told_meaning(text: str) -> Meaning | None:
    """What an owner says that a column is: a field, or a field and the unit. None for what is neither.

    Raises ValueError with what is wrong.
    """
    field, _, unit = text.strip().partition(" ")
    if field not in columns():
        raise ValueError(f"{field!r} is no field of a job")
    own, unit = columns()[field].unit, unit.strip()
    if unit and not converts(unit, to=own):
        raise ValueError(f"{unit!r} is no unit of {field}")
    return Meaning(field=field, unit=unit or own)


def meanings_of(headers: Sequence[str], *, told: Mapping[str, Meaning | None] | None = None) -> Mapping[str, Meaning]:
    """What the columns of a table are, by their names; what the owner `told` goes before what a name says.

    Of several columns for one field, the one is taken that has its very name, then the first.
    """
    told = told or {}
    found: dict[str, Meaning] = {name: meaning for name in headers if (meaning := told.get(name)) is not None}
    guessed = [(name, meaning) for name in headers if name not in told and (meaning := meaning_of(name)) is not None]
    for name, meaning in sorted(guessed, key=lambda one: one[0] != one[1].field):
        if columns()[meaning.field].path not in {columns()[one.field].path for one in found.values()}:
            found[name] = meaning
    return {name: found[name] for name in headers if name in found}


def of_jobs(found: Mapping[str, Meaning], *, told: Mapping[str, Meaning | None] | None = None) -> Mapping[str, Meaning]:
    """The meanings for jobs: where the table itself has a column of materials, an article number is the owner's own and
    asks no stock, unless the owner `told` that it does."""
    if not any(meaning.field == "material" for meaning in found.values()):
        return found
    return {name: meaning for name, meaning in found.items() if meaning.field != "article" or name in (told or {})}


def with_units(headers: Sequence[str], below: Sequence[str]) -> Sequence[str] | None:
    """The names with the units that the row below tells; None where that is no row of units."""
    units = [unit.strip("[]() ") for unit in below]
    named = [f"{name} [{unit}]" if unit else name for name, unit in zip(headers, units, strict=False)]
    told = [name for name, unit in zip(named, units, strict=False) if unit]
    if not told or len(below) > len(headers) or any(unit and unit_of(unit) is None for unit in units):
        return None
    return [*named, *headers[len(named) :]] if all(meaning_of(name) is not None for name in told) else None


def _readings(header: str) -> Iterable[tuple[str, str]]:
    """Ways to part a name and its unit, the likeliest first."""
    header = re.sub(r"[_\s]+", " ", header).strip(" *:")
    found = BRACKETS.match(header)
    if found:
        unit = found["unit"].removeprefix("in ").strip()
        yield found["name"], REMARK if unit_of(unit) is None else unit
        return
    yield header, ""
    for mark in (" in ", " en ", " / ", ", ", " "):
        name, between, unit = header.rpartition(mark)
        if between and unit_of(unit) is not None:
            yield name, unit


def _folded(name: str) -> str:
    """A name without case, accents and marks."""
    letters = unicodedata.normalize("NFC", name).casefold().translate(LETTERS)
    plain = "".join(one for one in unicodedata.normalize("NFKD", letters) if not unicodedata.combining(one))
    return " ".join(re.findall(r"[a-z0-9]+", plain))


@cache
def _names() -> Mapping[str, Sequence[tuple[str, str]]]:
    """Fields by a folded name, each with the unit that the name implies."""
    found: dict[str, list[tuple[str, str]]] = {}
    table = tomllib.loads(files(__package__).joinpath("headers.toml").read_text(encoding="utf-8"))
    for field, names in table.items():
        for text in names:
            name, _, unit = text.partition(": ")
            found.setdefault(_folded(name), []).append((field, unit))
    return found
