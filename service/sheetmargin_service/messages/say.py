"""What a code says, in the language asked for.

The words are data in `texts/`, one table a code, one file a subject, and in `texts.toml` of each principle's folder; a
new code is a new table. A text states no number of its own: every figure is a placeholder named in the note's `values`,
and `messages.quantities` gives it digits and unit. Within a placeholder:

    {gap_mm}                    23.5 mm
    {p5_um:to p95_um}           8 to 80 µm, the unit once
    {single_p1:fine}            to one decimal, where whole numbers would hide a difference
    {target_ppm:target}         1,000 per million or fewer
    {off_db:size}               without its sign
    {count:sheet|sheets}        the noun that goes with the count
    {change_db:rise}            rises by about 7 dB, falls by, does not change; `fall` of what counts downwards

Names that are not among the values: `{sheet_name}`, `{double_sheet_name}`, `{detector_name}`, `{field}` (the input that
the note's pointer is for), `{position}` (gap and tilt), `{setup_number}` and `{reading_number}`, from 1. `kind` says
where in an answer the code stands.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from string import Formatter

from sheetmargin_service.cached import cached_property
from sheetmargin_service.messages.languages import LANGUAGES, Language, is_one
from sheetmargin_service.messages.names import TABLE, Reader, detector_called, field_name, material_name, names
from sheetmargin_service.messages.quantities import (
    written,
    written_change,
    written_position,
    written_range,
    written_target,
)
from sheetmargin_service.principles import principles
from sheetmargin_service.tables import load_table, table_names

Scalar = str | int | float | bool | None

KINDS = (
    "reason",
    "ruled-out",
    "alternative",
    "assumption",
    "caution",
    "trial",
    "find-out",
    "setup",
    "fit",
    "cause",
    "test",
    "remedy",
)
"""`setup`: notes of mounting, timing and alignment; `fit`: what readings say; the last three: of a diagnosis."""
DERIVED: Mapping[str, frozenset[str]] = {
    "sheet_name": frozenset(),
    "double_sheet_name": frozenset({"double_sheet"}),
    "detector_name": frozenset({"detector_class"}),
    "field": frozenset({"pointer"}),
    "setup_number": frozenset({"setup"}),
    "reading_number": frozenset({"reading"}),
    "position": frozenset({"gap_mm", "tilt_deg"}),
    "position_before": frozenset({"gap_before_mm", "tilt_before_deg"}),
    "position_after": frozenset({"gap_after_mm", "tilt_after_deg"}),
}
"""Placeholders that are not values themselves, and the values that they are made of."""
PREFIXED = frozenset({"reason", "ruled-out", "assumption"})
"""Kinds that name their sheet first, where an answer tells of several and the text does not name it."""


class TextWarning(UserWarning):
    """A code without a text, or a text that asks for a value that the note does not have: a fault of this service.

    A warning, so that tests fail on it and a caller still gets the code and the values.
    """


@dataclass(frozen=True, kw_only=True)
class Piece:
    """Literal text, and the value behind it; `form` says how that is written."""

    literal: str
    name: str | None
    form: str


@dataclass(frozen=True, kw_only=True)
class Text:
    """The texts of one code."""

    kind: str
    templates: Mapping[Language, str]
    pieces: Mapping[Language, tuple[Piece, ...]]

    def placeholders(self, language: Language) -> frozenset[str]:
        """Names that the text states."""
        return self._placeholders[language]

    @cached_property
    def _placeholders(self) -> Mapping[Language, frozenset[str]]:
        return {
            language: frozenset(
                name
                for piece in pieces
                if piece.name is not None
                for name in (piece.name, *([piece.form.split()[-1]] if "to " in piece.form else []))
            )
            for language, pieces in self.pieces.items()
        }

    def values(self, language: Language) -> frozenset[str]:
        """Names of the values that a note must have for it."""
        return frozenset().union(*(DERIVED.get(name, {name}) for name in self.placeholders(language)))


@cache
def texts() -> Mapping[str, Text]:
    """Every text by its code: those of this folder, and each principle's own."""
    tables = [*(load_table(__package__, name) for name in table_names(__package__, "texts")), *_of_principles("texts")]
    return {code: _text(entry) for table in tables for code, entry in table.items()}


@cache
def words() -> Mapping[str, Mapping[Language, str]]:
    """Values that are names, as each language writes them."""
    tables = [load_table(__package__, "words.toml"), *_of_principles("words")]
    return {value: _worded(entry) for table in tables for value, entry in table.items()}


def _of_principles(section: str) -> list[Mapping[str, Mapping[str, str]]]:
    """A section of the texts that lie in each principle's folder."""
    return [load_table(p.folder, TABLE).get(section, {}) for p in principles().values()]


def _text(entry: Mapping[str, str]) -> Text:
    pieces = {language: _pieces(entry[language]) for language in LANGUAGES}
    return Text(kind=entry["kind"], templates=_worded(entry), pieces=pieces)


@cache
def _pieces(template: str) -> tuple[Piece, ...]:
    return tuple(
        Piece(literal=literal, name=name, form=form or "") for literal, name, form, _ in Formatter().parse(template)
    )


def filled(template: str, values: Mapping[str, Scalar], language: Language) -> str:
    """A text of another table, its places filled as those of a code are."""
    return "".join(piece.literal + _filled(piece, values, language) for piece in _pieces(template))


def _worded(entry: Mapping[str, str]) -> Mapping[Language, str]:
    return {language: entry[language] for language in LANGUAGES}


def say(code: str, values: Mapping[str, Scalar], *, reader: Reader, pointer: str | None = None) -> str:
    """The text of a code with its values; the bare code where there is none."""
    text = texts().get(code)
    if text is None:
        warnings.warn(f"no text for the code {code}", TextWarning, stacklevel=2)
        return code
    names = text.placeholders(reader.language)
    known = _known(values, reader, pointer, names)
    if missing := names - known.keys():
        warnings.warn(f"the text of {code} asks for {sorted(missing)}", TextWarning, stacklevel=2)
        return code
    said = "".join(piece.literal + _filled(piece, known, reader.language) for piece in text.pieces[reader.language])
    if not text.templates[reader.language].startswith(("{detector_class", "{sheet_name")):
        said = said[:1].upper() + said[1:]
    index = _sheet_index(values, pointer)
    if index is not None and text.kind in PREFIXED and len(reader.sheets) > 1 and "sheet_name" not in names:
        said = f"{reader.sheet_name(index)}: {said}"
    return reader.in_trade_words(said)


def _known(
    values: Mapping[str, Scalar], reader: Reader, pointer: str | None, names: frozenset[str]
) -> Mapping[str, Scalar]:
    """The values, and of the names that follow from them those that a text states."""
    known, language = dict(values), reader.language
    if "sheet_name" in names:
        known["sheet_name"] = reader.sheet_name(_sheet_index(values, pointer) or 0)
    if "double_sheet_name" in names and isinstance(double := values.get("double_sheet"), int):
        known["double_sheet_name"] = reader.sheet_name(double)
    where = pointer or values.get("pointer")
    if "field" in names and isinstance(where, str):
        known["field"] = field_name(where, language)
        known["value_of"] = where.rpartition("/")[2]
    for name in names & {"material", "construction"}:
        if isinstance(material := values.get(name), str):
            known[name] = material_name(material, language)
    for name in ("setup", "reading"):
        if f"{name}_number" in names and isinstance(index := values.get(name), int):
            known[f"{name}_number"] = index + 1
    for when in ("", "_before", "_after"):
        gap, tilt = values.get(f"gap{when}_mm"), values.get(f"tilt{when}_deg")
        if f"position{when}" in names and isinstance(gap, int | float):
            known[f"position{when}"] = written_position(gap, tilt if isinstance(tilt, int | float) else None, language)
    kind, khz = values.get("detector", values.get("detector_class")), values.get("frequency_khz")
    if "detector_name" in names and isinstance(kind, str):
        known["detector_name"] = detector_called(kind, khz if isinstance(khz, float) else None, language)
    return known


def _sheet_index(values: Mapping[str, Scalar], pointer: str | None) -> int | None:
    """The sheet that a note tells of; None where it tells of all, or of what is no sheet."""
    if isinstance(index := values.get("sheet"), int):
        return index
    parts = (pointer or "").split("/")
    return int(parts[2]) if len(parts) > 2 and parts[1] == "sheets" and parts[2].isdigit() else None


def _filled(piece: Piece, known: Mapping[str, Scalar], language: Language) -> str:
    """A value in the form that its place asks for."""
    if piece.name is None:
        return ""
    value, unit = known[piece.name], str(known.get("unit", ""))
    if isinstance(value, bool) or not isinstance(value, int | float):
        return written_word(value, language)
    if "|" in piece.form:
        one, more = piece.form.split("|")
        return one if is_one(value, language) else more
    if piece.form == "target":
        return written_target(value, language)
    if piece.form in ("rise", "fall"):
        return written_change(value if piece.form == "rise" else -value, language, unit=unit)
    value = abs(value) if piece.form == "size" else value
    name = str(known["value_of"]) if piece.name == "value" and "value_of" in known else piece.name
    fine = piece.form.startswith("fine")
    if "to " in piece.form:
        end = piece.form.split()[-1]
        last = known[end]
        assert isinstance(last, int | float)
        return written_range((name, value), (end, last), language, unit=unit, fine=fine)
    return written(name, value, language, unit=unit, fine=fine)


def written_word(value: str | bool | None, language: Language) -> str:
    """A value that is a name, several names with commas, or yes or no, as the language writes it."""
    return "-" if value is None else ", ".join(_word(one, language) for one in str(value).split(", "))


def _word(value: str, language: Language) -> str:
    principle = names()[language]["principle"]
    return words().get(value, {}).get(language) or principle.get(value, value)
