"""Readings of a sample as they are given, and as attenuations of the open path; what cannot be so is refused."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log10
from statistics import median

from sheetmargin.contract.measure import BenchReading, InstalledSetup, MachineReading, State

from sheetmargin_service.errors import Filled, QuestionError

Setting = tuple[str, float, float]
"""A class, a gap in mm and a tilt in degrees."""
UNITS = ("attenuation_db", "level_pct", "volts")
OPEN_LIMIT_PCT = 200.0
"""Standing waves in the open path may double its level; no more."""
SHEET_LIMIT_PCT = 120.0
"""A sheet cannot strengthen the sound; a little more than the open path is left for its standing waves."""
EXCHANGED_DB = 3.0
"""One sheet may read that much weaker than two by chance."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading: what was in the beam, and one of attenuation in dB, amplitude in per cent of the open path, or volts
    in proportion to the amplitude.

    Readings of the same `specimen` are of the same two sheets, not laid anew. Without one, each is a specimen of its
    own.
    """

    state: State
    setting: Setting
    attenuation_db: float | None = None
    level_pct: float | None = None
    volts: float | None = None
    specimen: str | None = None


@dataclass(frozen=True, kw_only=True)
class Observed:
    """A reading as an attenuation. `index` is its position among the readings as given."""

    index: int
    state: State
    setting: Setting
    attenuation_db: float
    specimen: str | None


def bench_readings(readings: Sequence[BenchReading]) -> tuple[Reading, ...]:
    """Readings of a bench, each where it was taken."""
    return tuple(_at((one.detector_class, one.gap_mm, one.tilt_deg), one) for one in readings)


def machine_readings(setup: InstalledSetup, readings: Sequence[MachineReading]) -> tuple[Reading, ...]:
    """Readings of a machine, all at its set-up."""
    return tuple(_at((setup.detector_class, setup.gap_mm, setup.tilt_deg), one) for one in readings)


def _at(setting: Setting, one: MachineReading) -> Reading:
    values = {unit: getattr(one, unit) for unit in UNITS}
    return Reading(state=one.state, setting=setting, specimen=one.specimen, **values)


def observed(readings: Sequence[Reading], *, taught: bool = False) -> tuple[Observed, ...]:
    """The readings as attenuations of the open path; QuestionError where they cannot be.

    Where the open path was read at a place, its median there is what the others are counted from; a machine that was
    `taught` counts dB and per cent from what the open path was then.
    """
    unit = _common_unit(readings)
    levels = [_level(reading, unit, index) for index, reading in enumerate(readings)]
    opened: dict[Setting, list[float]] = defaultdict(list)
    for reading, level in zip(readings, levels, strict=True):
        if reading.state == "no_sheet":
            opened[reading.setting].append(level)
    if unit == "volts":
        _check_references(readings, opened)
    kept = taught and unit != "volts"
    references = [None if kept or not opened[r.setting] else median(opened[r.setting]) for r in readings]
    seen = tuple(
        Observed(
            index=index,
            state=reading.state,
            setting=reading.setting,
            attenuation_db=-level if reference is None else reference - level,
            specimen=reading.specimen,
        )
        for index, (reading, level, reference) in enumerate(zip(readings, levels, references, strict=True))
    )
    _check_weaker(seen, unit)
    return seen


def check_states(seen: Sequence[Observed], expected: Mapping[Setting, Mapping[State, float]]) -> None:
    """QuestionError where, at a place, one sheet reads weaker than two and each of them nearer to what is expected of
    the other: then states are exchanged. Two sheets alone may be louder than one: near the resonance of a thin film of
    air.
    """
    for setting, levels in expected.items():
        singles, doubles = (
            [o for o in seen if o.setting == setting and o.state == state] for state in ("single", "double")
        )
        if not singles or not doubles:
            continue
        one, two = (median(o.attenuation_db for o in group) for group in (singles, doubles))
        nearer_to_two = abs(one - levels["double"]) < abs(one - levels["single"])
        nearer_to_one = abs(two - levels["single"]) < abs(two - levels["double"])
        if one > two + EXCHANGED_DB and nearer_to_two and nearer_to_one:
            fields = [f"readings/{o.index}" for o in (*singles, *doubles)]
            raise QuestionError(
                code="one-above-two",
                field=fields[0],
                also=tuple(fields[1:]),
                detail=Filled(
                    "Check the states: one sheet attenuates by {one:.1f} dB, two sheets by only {two:.1f} dB ({at}).",
                    one=one,
                    two=two,
                    at=_named(setting),
                ),
                expected=Filled(
                    "about {single:.0f} dB for one sheet and {double:.0f} dB for two",
                    single=levels["single"],
                    double=levels["double"],
                ),
            )


def _common_unit(readings: Sequence[Reading]) -> str:
    units = []
    for index, reading in enumerate(readings):
        given = [unit for unit in UNITS if getattr(reading, unit) is not None]
        if len(given) != 1:
            raise QuestionError(
                code="conflicting-fields" if given else "missing-field",
                field=f"readings/{index}" + (f"/{given[0]}" if given else ""),
                also=tuple(f"readings/{index}/{unit}" for unit in given[1:]),
                detail="Give each reading exactly one value.",
                expected=Filled("one of {names}", names=", ".join(UNITS)),
            )
        units += given
    found = sorted(set(units))
    if len(found) > 1:
        usual = max(found, key=units.count)
        others = [f"readings/{i}/{unit}" for i, unit in enumerate(units) if unit != usual]
        raise QuestionError(
            code="mixed-units",
            field=others[0],
            also=tuple(others[1:]),
            detail=Filled("Give all readings in one unit, not in {names}.", names=", ".join(found)),
            expected=Filled("one unit, for example {unit}", unit=usual),
        )
    return found[0]


def _level(reading: Reading, unit: str, index: int) -> float:
    """Level in dB, of the open path or of one volt."""
    value = float(getattr(reading, unit))
    field = f"readings/{index}/{unit}"
    if unit == "attenuation_db":
        value = 100.0 * 10.0 ** (-value / 20.0)
    most = float("inf") if unit == "volts" else OPEN_LIMIT_PCT
    if not 0.0 < value <= most:
        raise QuestionError(
            code="impossible-level",
            field=field,
            detail=Filled(
                "A level of {value:.3g} {unit} is impossible.", value=value, unit="V" if unit == "volts" else "%"
            ),
            expected="above 0 V"
            if unit == "volts"
            else Filled(
                "above 0 to {most:g} % of the open path ({least:.0f} dB or more)",
                most=most,
                least=-20.0 * log10(most / 100.0),
            ),
        )
    return 20.0 * log10(value if unit == "volts" else value / 100.0)


def _check_weaker(seen: Sequence[Observed], unit: str) -> None:
    for one in seen:
        if one.state != "no_sheet" and one.attenuation_db < -20.0 * log10(SHEET_LIMIT_PCT / 100.0):
            raise QuestionError(
                code="impossible-level",
                field=f"readings/{one.index}/{unit}",
                detail=Filled(
                    "Check sign and state: this reading is {above:.1f} dB above the open path ({at}).",
                    above=-one.attenuation_db,
                    at=_named(one.setting),
                ),
                expected="a level below that of the open path",
            )


def _check_references(readings: Sequence[Reading], opened: Mapping[Setting, Sequence[float]]) -> None:
    for index, reading in enumerate(readings):
        if not opened.get(reading.setting):
            raise QuestionError(
                code="no-open-path",
                field=f"readings/{index}/volts",
                detail=Filled(
                    "Read the open path too: volts need it for reference ({at}).", at=_named(reading.setting)
                ),
                expected="a reading without a sheet at the same class, gap and tilt",
            )


def _named(setting: Setting) -> str:
    name, gap, tilt = setting
    return f"{name}, {gap:g} mm, {tilt:g}°"
