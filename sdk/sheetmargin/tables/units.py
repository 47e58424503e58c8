"""Units as they are written in tables, and numbers from one to another."""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, kw_only=True)
class Unit:
    """`kind` is what it measures; `times` how much of the kind's first unit one of it is; `zero` what 0 of it is."""

    kind: str
    times: Fraction
    zero: Fraction


def unit_of(text: str) -> Unit | None:
    """The unit that is written so, in a table or in the contract; None for a text that is none."""
    return _units().get(_folded(text))


def converts(text: str, *, to: str) -> bool:
    """Whether a number in one unit can be told in the other."""
    one, other = unit_of(text), unit_of(to)
    if one is None or other is None:
        return _folded(text) == _folded(to) != ""
    return one.kind == other.kind


def converted(number: Fraction, unit: str, *, to: str) -> Fraction:
    """The number in the other unit, to which the one must convert."""
    one, other = unit_of(unit), unit_of(to)
    if one is None or other is None:
        return number
    return (number * one.times + one.zero - other.zero) / other.times


def writings(unit: str) -> tuple[str, ...]:
    """How units are written that the unit converts from, for a message."""
    known = unit_of(unit)
    if known is None:
        return (unit,)
    return tuple(name for name, each in _units().items() if each.kind == known.kind)


def _folded(text: str) -> str:
    plain = unicodedata.normalize("NFKC", text).casefold().replace("μ", "u").replace("^", "")
    return "".join(plain.split()).strip("[]().")


@cache
def _units() -> Mapping[str, Unit]:
    found: dict[str, Unit] = {}
    for kind, table in tomllib.loads(files(__package__).joinpath("units.toml").read_text(encoding="utf-8")).items():
        also, zeros = table.pop("also", {}), table.pop("zero", {})
        own = {
            name: Unit(kind=kind, times=Fraction(str(times)), zero=Fraction(str(zeros.get(name, 0))))
            for name, times in table.items()
        }
        found |= {_folded(name): unit for name, unit in own.items()}
        found |= {_folded(writing): own[name] for name, writings in also.items() for writing in writings}
    return found
