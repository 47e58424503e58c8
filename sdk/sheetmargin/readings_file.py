"""Readings from a table of comma-separated values, as a spreadsheet or a logger writes it.

The first line names the columns; they are the fields of a reading (`state`, one of `attenuation_db`, `level_pct` and
`volts`, `detector_class`, `gap_mm`, `tilt_deg`, `specimen`), in any order, and what is left out may be given for all.
Columns divided by semicolons may have decimal commas.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sheetmargin.contract.problem import Fault
from sheetmargin.errors import InvalidJob

NUMBERS = ("attenuation_db", "level_pct", "volts", "gap_mm", "tilt_deg")
TEXTS = ("state", "detector_class", "specimen")


@dataclass(frozen=True, kw_only=True)
class ReadingsTable:
    """Readings as they were written: the fields of each, and the line of the file that it stands in."""

    readings: tuple[Mapping[str, Any], ...]
    lines: tuple[int, ...]

    def placed(self, fault: Fault) -> Fault:
        """The fault with a pointer into the readings (`/readings/3/gap_mm`) told as a line and column of the file."""
        parts = (fault.pointer or "").split("/")
        if len(parts) < 3 or parts[1] != "readings" or not parts[2].isdigit() or int(parts[2]) >= len(self.lines):
            return fault
        column = f", {parts[3]}" if len(parts) > 3 else ""
        return Fault(
            code=fault.code,
            detail=fault.detail,
            pointer=f"line {self.lines[int(parts[2])]}{column}",
            expected=fault.expected,
            suggestions=fault.suggestions,
        )


def parse_readings(text: str, *, numbers: Sequence[str] = NUMBERS, texts: Sequence[str] = TEXTS) -> ReadingsTable:
    """The readings of a table with some of these columns. Raises InvalidJob with the line of all that is wrong."""
    columns = (*texts, *numbers)
    text = text.lstrip("\ufeff")
    rows = list(csv.reader(text.splitlines(), delimiter=max(",;\t", key=text.partition("\n")[0].count)))
    if not rows or not any(cell.strip() for cell in rows[0]):
        raise _invalid([_fault(1, "The table is empty.", "a first line with the names of the columns")])
    names = [cell.strip() for cell in rows[0]]
    faults = [
        _fault(1, f"There is no column {name!r}.", "one of " + ", ".join(columns))
        for name in names
        if name not in columns
    ]
    if len(set(names)) < len(names):
        faults.append(_fault(1, "A column is named twice.", "each name once"))
    if "state" not in names:
        faults.append(_fault(1, "There is no column of states.", "a column `state` of what was in the beam"))
    if faults:
        raise _invalid(faults)
    readings, lines = [], []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) > len(names):
            faults.append(_fault(number, f"This line has {len(row)} cells.", f"{len(names)}, as the first line names"))
            continue
        cells = {name: cell.strip() for name, cell in zip(names, row, strict=False) if cell.strip()}
        reading: dict[str, Any] = {}
        for name, cell in cells.items():
            value = _number(cell) if name in numbers else cell
            if value is None:
                faults.append(_fault(number, f"{name} is {cell!r}.", "a number"))
            else:
                reading[name] = value
        readings.append(reading)
        lines.append(number)
    if faults:
        raise _invalid(faults)
    if not readings:
        raise _invalid([_fault(2, "The table has no readings.", "a line for each reading")])
    return ReadingsTable(readings=tuple(readings), lines=tuple(lines))


def _number(cell: str) -> float | None:
    try:
        value = float(cell.replace(",", ".") if cell.count(",") == 1 and "." not in cell else cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _fault(line: int, detail: str, expected: str) -> Fault:
    return Fault(code="readings-table", detail=detail, pointer=f"line {line}", expected=expected)


def _invalid(faults: Sequence[Fault]) -> InvalidJob:
    return InvalidJob("The readings cannot be read.", errors=faults)
