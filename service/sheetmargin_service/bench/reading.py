"""Readings of a sample as they are given, and as attenuations of the open path; what cannot be so is refused."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log10
from statistics import median
from typing import Literal

from sheetmargin_service.bench.errors import BenchError

State = Literal["no_sheet", "single", "double"]
Place = tuple[str, float, float]
"""A class, a gap in mm and a tilt in degrees."""
UNITS = ("attenuation_db", "level_pct", "volts")
OPEN_LIMIT_PCT = 200.0
"""Standing waves in the open path may double its level; no more."""
SHEET_LIMIT_PCT = 120.0
"""A sheet cannot strengthen the sound; a little more than the open path is left for its standing waves."""
SWAPPED_DB = 3.0
"""One sheet may read that much weaker than two by chance."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading: what was in the beam, and one of attenuation in dB, amplitude in per cent of the open path, or volts
    in proportion to the amplitude.

    Readings of the same `specimen` are of the same two sheets, not laid anew. Without one, each is a specimen of its
    own.
    """

    state: State
    place: Place
    attenuation_db: float | None = None
    level_pct: float | None = None
    volts: float | None = None
    specimen: str | None = None


@dataclass(frozen=True, kw_only=True)
class Observed:
    """A reading as an attenuation. `index` is its position among the readings as given."""

    index: int
    state: State
    place: Place
    attenuation_db: float
    specimen: str | None


def observed(readings: Sequence[Reading]) -> tuple[Observed, ...]:
    """The readings as attenuations of the open path; BenchError where they cannot be.

    Where the open path was read at a place, its median there is what the others are counted from.
    """
    unit = _common_unit(readings)
    levels = [_level(reading, unit, index) for index, reading in enumerate(readings)]
    opened: dict[Place, list[float]] = defaultdict(list)
    for reading, level in zip(readings, levels, strict=True):
        if reading.state == "no_sheet":
            opened[reading.place].append(level)
    if unit == "volts":
        _check_references(readings, opened)
    return tuple(
        Observed(
            index=index,
            state=reading.state,
            place=reading.place,
            attenuation_db=median(opened[reading.place]) - level if opened[reading.place] else -level,
            specimen=reading.specimen,
        )
        for index, (reading, level) in enumerate(zip(readings, levels, strict=True))
    )


def check_order(seen: Sequence[Observed]) -> None:
    """BenchError where one sheet reads weaker than two: then states or signs are mixed up."""
    by_place: dict[Place, Mapping[str, list[Observed]]] = {}
    for one in seen:
        by_place.setdefault(one.place, defaultdict(list))[one.state].append(one)
    for place, states in by_place.items():
        for less, more in (("single", "double"), ("no_sheet", "single"), ("no_sheet", "double")):
            fewer, plenty = states[less], states[more]
            if not fewer or not plenty:
                continue
            first, second = (median(o.attenuation_db for o in group) for group in (fewer, plenty))
            if first > second + SWAPPED_DB:
                fields = [f"readings/{o.index}" for o in sorted((*fewer, *plenty), key=lambda o: o.index)]
                raise BenchError(
                    code="one-above-two" if less == "single" else "none-above-sheet",
                    field=fields[0],
                    also=tuple(fields[1:]),
                    detail=f"{less} weakens the sound by {first:.1f} dB and {more} by {second:.1f} dB at {_named(place)}.",
                    expected=f"{more} weaker than {less}: are states exchanged, or the sign of the attenuation?",
                )


def _common_unit(readings: Sequence[Reading]) -> str:
    units = []
    for index, reading in enumerate(readings):
        given = [unit for unit in UNITS if getattr(reading, unit) is not None]
        if len(given) != 1:
            raise BenchError(
                code="conflicting-fields" if given else "missing-field",
                field=f"readings/{index}" + (f"/{given[0]}" if given else ""),
                also=tuple(f"readings/{index}/{unit}" for unit in given[1:]),
                detail="A reading has " + (" and ".join(given) if given else "no value") + ".",
                expected="one of " + ", ".join(UNITS),
            )
        units += given
    found = sorted(set(units))
    if len(found) > 1:
        usual = max(found, key=units.count)
        others = [f"readings/{i}/{unit}" for i, unit in enumerate(units) if unit != usual]
        raise BenchError(
            code="mixed-units",
            field=others[0],
            also=tuple(others[1:]),
            detail=f"The readings come in {' and in '.join(found)}.",
            expected=f"one unit for all of them, {usual} for instance",
        )
    return found[0]


def _level(reading: Reading, unit: str, index: int) -> float:
    """Level in dB, of the open path or of one volt."""
    value = float(getattr(reading, unit))
    field = f"readings/{index}/{unit}"
    if unit == "attenuation_db":
        value = 100.0 * 10.0 ** (-value / 20.0)
    if unit != "volts":
        most = OPEN_LIMIT_PCT if reading.state == "no_sheet" else SHEET_LIMIT_PCT
        if not 0.0 < value <= most:
            raise BenchError(
                code="impossible-level",
                field=field,
                detail=f"{reading.state} at {value:.3g} per cent of the open path's amplitude cannot be.",
                expected=f"above 0 to {most:g} per cent, or an attenuation of at least {-20.0 * log10(most / 100.0):.1f} dB",
            )
        return 20.0 * log10(value / 100.0)
    if value <= 0.0:
        raise BenchError(
            code="impossible-level", field=field, detail="This amplitude is not above 0.", expected="volts above 0"
        )
    return 20.0 * log10(value)


def _check_references(readings: Sequence[Reading], opened: Mapping[Place, Sequence[float]]) -> None:
    for index, reading in enumerate(readings):
        if not opened.get(reading.place):
            raise BenchError(
                code="no-open-path",
                field=f"readings/{index}/volts",
                detail=f"Volts say nothing by themselves, and the open path was not read at {_named(reading.place)}.",
                expected="a reading of no_sheet at the same class, gap and tilt",
            )


def _named(place: Place) -> str:
    name, gap, tilt = place
    return f"{name}, {gap:g} mm, {tilt:g} degrees"
