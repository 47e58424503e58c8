"""An entry of a catalogue file from bench readings: what they tell, what was known, and what is neither.

`characterise_table` is what `sheetmargin characterise` calls, through the entry point of the same name.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.detectors.filling import fill
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.errors import FieldError, QuestionError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.measurement.characterise import (
    GAINS,
    LIMITS,
    STATES,
    CharacteriseError,
    Derived,
    PairReading,
    characterise,
)
from sheetmargin_service.principles.catalogues import read_catalogue, reference_catalogue
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters

PRINCIPLE = "ultrasonic"
SHEET_FIELDS = ("material", "grammage_gsm", "thickness_um")
UNMEASURED = (
    "housing",
    "output",
    "supply",
    "ingress",
    "temperature_min_c",
    "temperature_max_c",
    "contactless",
    "order",
)
"""What a class has besides its parameters, and no reading tells."""


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A catalogue file with one class, and how each of its parameters came about: value and origin by name."""

    catalogue: str
    origins: Mapping[str, tuple[Any, str]]


def characterise_table(
    rows: Sequence[Mapping[str, Any]],
    lines: Sequence[str],
    *,
    draft: str | None = None,
    class_id: str | None = None,
    frequency_hz: float | None = None,
    face_radius_mm: float | None = None,
    temperature_c: float = 20.0,
    relative_humidity_pct: float = 50.0,
    source: str,
) -> Entry:
    """The entry of the pair whose readings are the rows of a table, each named by its place.

    `draft`: a catalogue file (TOML) with one class and what is known of it; without one, `class_id` and `frequency_hz`
    are known. `source` is what the file says of where its numbers come from. Raises CharacteriseError.
    """
    table = _draft(draft, class_id=class_id, frequency_hz=frequency_hz, face_radius_mm=face_radius_mm)
    given = table.get("parameters", {})
    if not isinstance(given, Mapping) or not isinstance(given.get("frequency_hz"), int | float):
        raise CharacteriseError("The frequency is not known: expected frequency_hz under the draft's parameters.")
    try:
        air = humid_air(temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct)
    except ValueError as error:
        raise CharacteriseError(f"The air of the bench: {error}") from error
    readings = [_reading(row, line) for row, line in zip(rows, lines, strict=True)]
    among = reference_catalogue().classes
    try:
        derived = characterise(readings, given=given, air=air, among=among)
    except FieldError as error:
        raise CharacteriseError(f"The draft and the readings do not go together: {error}") from error
    return _entry(table, given, derived, source=source, among=among)


def _draft(
    text: str | None, *, class_id: str | None, frequency_hz: float | None, face_radius_mm: float | None
) -> dict[str, Any]:
    """The one class of a draft with the defaults of its file, or one of what is known without a draft."""
    if text is None:
        if class_id is None or frequency_hz is None:
            raise CharacteriseError(
                "The class has no name or no frequency: expected --id and --frequency-khz, or --draft."
            )
        radius = {} if face_radius_mm is None else {"face_radius_mm": face_radius_mm}
        return {"id": class_id, "principle": PRINCIPLE, "parameters": {"frequency_hz": frequency_hz, **radius}}
    if not (class_id is None and frequency_hz is None and face_radius_mm is None):
        raise CharacteriseError("The class is described twice, by a draft and by options: expected one of the two.")
    try:
        file = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CharacteriseError(f"The draft is no TOML: {error}.") from error
    classes = file.get("class")
    if not isinstance(classes, list) or len(classes) != 1 or not isinstance(classes[0], dict):
        raise CharacteriseError("The draft: expected one [[class]].")
    table = {"source": file.get("source", ""), **file.get("defaults", {}), **classes[0]}
    if table.get("principle") != PRINCIPLE:
        raise CharacteriseError(
            f"The draft is of the principle {table.get('principle')!r}: readings of an ultrasonic pair alone can be "
            f"used, expected {PRINCIPLE!r}. Give the others' parameters in the catalogue file."
        )
    return table


def _reading(row: Mapping[str, Any], line: str) -> PairReading:
    """One row as a reading; CharacteriseError names its place and what would be right."""
    state = _word(row, "state", STATES, line=line)
    if "level_db" not in row or "gap_mm" not in row:
        missing = "level_db" if "level_db" not in row else "gap_mm"
        raise CharacteriseError(f"{line} has no {missing}: expected one in every line.")
    if not 0.0 < row["gap_mm"] <= 1000.0:
        raise CharacteriseError(f"{line}: gap_mm is {row['gap_mm']:g}; expected more than 0, at most 1000.")
    if not abs(row["level_db"]) <= 300.0:
        raise CharacteriseError(f"{line}: level_db is {row['level_db']:g}; expected -300 to 300.")
    if not 0.0 <= row.get("tilt_deg", 0.0) <= 45.0:
        raise CharacteriseError(f"{line}: tilt_deg is {row['tilt_deg']:g}; expected 0 to 45.")
    told = {name: row[name] for name in SHEET_FIELDS if name in row}
    if bool(told) != (state == "sheet"):
        expected = "a material for a `sheet` and for nothing else"
        raise CharacteriseError(
            f"{line}: the state is {state}, {'/'.join(told) or 'no sheet'} is given; expected {expected}."
        )
    return PairReading(
        line=line,
        state=state,
        level_db=row["level_db"],
        gap_mm=row["gap_mm"],
        tilt_deg=row.get("tilt_deg", 0.0),
        gain=_word(row, "gain", GAINS, line=line) if "gain" in row else "least",
        limit=_word(row, "limit", LIMITS, line=line) if "limit" in row else None,
        sheet=_sheet(told, line) if told else None,
        name=" ".join(f"{value:g}" if isinstance(value, float) else str(value) for value in told.values()),
    )


def _word(row: Mapping[str, Any], column: str, words: Sequence[Any], *, line: str) -> Any:
    word = row.get(column)
    if word not in words:
        raise CharacteriseError(f"{line}: {column} is {word!r}; expected one of {', '.join(words)}.")
    return word


def _sheet(told: Mapping[str, Any], line: str) -> Sheet:
    try:
        return resolve_sheet(SheetSpec(**told), load_library())
    except QuestionError as error:
        meant = f" Did you mean {' or '.join(error.suggestions)}?" if error.suggestions else ""
        raise CharacteriseError(f"{line}: {error.field}: {error.detail} Expected {error.expected}.{meant}") from error


def _entry(
    table: Mapping[str, Any],
    given: Mapping[str, Any],
    derived: Mapping[str, Derived],
    *,
    source: str,
    among: Sequence[DetectorClass],
) -> Entry:
    """The file's text, checked as the service will check it."""
    kept = {name: one for name, one in derived.items() if name not in given}
    measured = {name: _rounded(one.value) for name, one in kept.items()}
    parameters = {**given, **measured}
    filling = fill(PRINCIPLE, parameters, width_mm=_width(table), among=among)
    assert filling.filled is not None or len(parameters) == len(filling.values)
    nearest = next((c for c in among if filling.filled and c.id == filling.filled.reference_class), None)
    origins: dict[str, tuple[Any, str]] = {}
    for name in UltrasonicParameters.__dataclass_fields__:
        if name in given:
            beside = f"; the readings say {_rounded(derived[name].value)}" if name in derived else ""
            origins[name] = (given[name], f"known before{beside}")
        elif name in kept:
            origins[name] = (measured[name], f"measured: {kept[name].source}{_width_text(kept[name])}")
        elif filling.filled is not None and name in filling.filled.parameters:
            origins[name] = (filling.values[name], f"not known, as {filling.filled.reference_class} has it")
    text = _text(table, parameters, origins, source=source, nearest=nearest)
    try:
        read_catalogue(name="entry", text=text, reference=among)
    except FieldError as error:
        raise CharacteriseError(f"No catalogue can hold this class: {error}") from error
    return Entry(catalogue=text, origins=origins)


def _width(table: Mapping[str, Any]) -> Any:
    housing = table.get("housing")
    return housing.get("width_mm") if isinstance(housing, Mapping) else None


def _rounded(value: float) -> float:
    """To a tenth: readings are no better."""
    return round(value, 1)


def _width_text(one: Derived) -> str:
    return "" if one.half_width is None else f"; within {one.half_width:.1f} (95 %, from their scatter)"


def _text(
    table: Mapping[str, Any],
    parameters: Mapping[str, Any],
    origins: Mapping[str, tuple[Any, str]],
    *,
    source: str,
    nearest: DetectorClass | None,
) -> str:
    """The file: plain keys, then each parameter with its origin beside it. What the service will fill is a comment."""
    before = [table["source"]] if table.get("source") else []
    lines = [f"source = {_toml('; '.join([*before, source]))}", "", "[[class]]"]
    plain = {name: value for name, value in table.items() if name not in ("parameters", "source")}
    lines += [f"{name} = {_toml(value)}" for name, value in plain.items()]
    if nearest is not None and (absent := [name for name in UNMEASURED if name not in plain]):
        lines.append(f"# No reading tells these; they are {nearest.id}'s. Put in yours.")
        own = asdict(nearest)
        lines += [f"{name} = {_toml(own[name])}" for name in absent]
    lines.append("[class.parameters]")
    shown = [(f"{name} = {_toml(parameters[name])}", origins[name][1]) for name in origins if name in parameters]
    wide = max(len(text) for text, _ in shown)
    lines += [f"{text:<{wide}}  # {origin}" for text, origin in shown]
    lines += [
        f"# {name} = {_toml(value)}: {origin}" for name, (value, origin) in origins.items() if name not in parameters
    ]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    """A value as TOML; the tables in it on one line."""
    if isinstance(value, Mapping):
        members = (f"{name} = {_toml(item)}" for name, item in value.items() if item is not None)
        return "{ " + ", ".join(members) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    # A text in JSON is one in TOML, and so are true, false and finite numbers.
    return json.dumps(value, ensure_ascii=False)
