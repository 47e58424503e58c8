"""What a cell says: numbers with their units, as people and programs write them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, time
from fractions import Fraction
from typing import Any, Literal

from sheetmargin.tables.columns import Column
from sheetmargin.tables.headers import Meaning
from sheetmargin.tables.units import converted, converts, writings

Cell = str | int | float | bool | date | time | None
"""What stands in a cell; other kinds of tables than CSV know more than texts."""

Decimal = Literal["comma", "point"]

NUMBER = re.compile(r"(?P<number>[+-]?[0-9][0-9.,' ]*(?:[eE][+-]?[0-9]+)?|[+-]?[.,][0-9]+)\s*(?P<unit>[^0-9].*)?")
MARKS: Mapping[str, Decimal] = {",": "comma", ".": "point"}
THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,][0-9]{3})+")
TRUTH = {
    **dict.fromkeys(("true", "yes", "ja", "wahr", "oui", "vrai", "sì", "si", "sí"), True),
    **dict.fromkeys(("false", "no", "nein", "falsch", "non", "faux"), False),
}


class UnclearCellError(ValueError):
    """A cell can be read in more ways than one, or in none; `expected` is what would be right."""

    def __init__(self, detail: str, *, expected: str) -> None:
        super().__init__(detail)
        self.expected = expected


def text_of(cell: Cell) -> str:
    """The cell as it is shown; whole numbers without a point."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)


def value_of(cell: Cell, column: Column, meaning: Meaning, *, decimal: Decimal | None, told: bool = False) -> Any:
    """The cell as its field wants it. A text that is no number where one is wanted is left to the service to refuse.

    `decimal`: how the table writes fractions, where that is known; `told`: by its owner. Raises UnclearCellError.
    """
    text = " ".join(text_of(cell).split())
    if column.kind is list:
        return [item.strip() for item in text.replace(";", ",").split(",") if item.strip()]
    if column.kind is bool:
        return TRUTH.get(text.casefold(), text)
    found = NUMBER.fullmatch(text) if column.kind in (int, float) else None
    if found is None:
        return text
    number = _number(found["number"].strip(), decimal, told) if isinstance(cell, str) else Fraction(text)
    if number is None:
        return text
    if not column.unit:
        if found["unit"]:
            return text
        return int(number) if column.kind is int and number.denominator == 1 else float(number)
    unit = found["unit"] or meaning.unit
    if unit is None:
        units = ", ".join(writings(column.unit)[:4])
        raise UnclearCellError("No unit is told.", expected=f"one in the cell, or in brackets in the head: {units}")
    if not converts(unit, to=column.unit):
        raise UnclearCellError(
            f"{unit!r} is no unit of {meaning.field}.", expected=", ".join(writings(column.unit)[:6])
        )
    try:
        return float(converted(number, unit, to=column.unit))
    except OverflowError:
        return text


def _number(text: str, decimal: Decimal | None, told: bool) -> Fraction | None:
    """The number; None for a text that is none. Raises UnclearCellError where a mark may divide thousands."""
    digits = re.sub(r"(?<=[0-9])[' ](?=[0-9]{3}(?![0-9]))", "", text)
    marks = [one for one in digits if one in MARKS]
    mark = marks[-1] if marks else "."
    if len(set(marks)) == 2:
        # The last divides the fraction: 1.234,5.
        digits = digits.replace("." if mark == "," else ",", "")
    elif len(marks) > 1 and THOUSANDS.fullmatch(digits):
        digits = digits.replace(mark, "")
    elif THOUSANDS.fullmatch(digits) and decimal != MARKS[mark]:
        whole, fraction = digits.replace(mark, ""), digits.replace(mark, ".")
        if not told:
            raise UnclearCellError(
                f"It may be {whole} or {fraction}.", expected="no mark of thousands, or the decimal mark told"
            )
        digits = whole
    try:
        return Fraction(digits.replace(mark, "."))
    except (ValueError, OverflowError):
        return None
