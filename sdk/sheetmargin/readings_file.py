"""Readings from a table as a spreadsheet or a logger writes it.

Its head names the columns; they are the fields of a reading (`state`, one of `attenuation_db`, `level_pct` and
`volts`, `detector_class`, `gap_mm`, `tilt_deg`, `specimen`), in any order, and what is left out may be given for all.
Numbers may have decimal commas.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sheetmargin.contract.problem import Fault
from sheetmargin.errors import ExtraNotInstalled, InvalidJob
from sheetmargin.tables.cells import text_of
from sheetmargin.tables.files import PartMissingError, TableError
from sheetmargin.tables.read import read_table

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


def read_readings(path: Path, *, numbers: Sequence[str] = NUMBERS, texts: Sequence[str] = TEXTS) -> ReadingsTable:
    """The readings of a table with some of these columns. Raises InvalidJob with the line of all that is wrong."""
    columns = (*texts, *numbers)
    try:
        table = read_table(path, fields=columns)
        rows = [row for row in table if not row.blank]
    except PartMissingError as error:
        raise ExtraNotInstalled.missing(error.name, extra="bulk") from error
    except TableError as error:
        raise _invalid([_fault(1, str(error), "a first line with the names of the columns")]) from error
    faults = [
        _fault(table.head_row, f"There is no column {name!r}.", "one of " + ", ".join(columns))
        for name in table.columns
        if name not in columns
    ]
    if "state" not in table.columns:
        told = f"{path.name} has no column of states."
        faults.append(_fault(table.head_row, told, "a column `state` of what was in the beam"))
    if not faults and not rows:
        faults.append(_fault(table.first_row, "The table has no readings.", "a line for each reading"))
    readings = []
    for row in [] if faults else rows:
        if row.surplus:
            cells, wanted = len(table.columns) + len(row.surplus), len(table.columns)
            faults.append(_fault(row.number, f"This line has {cells} cells.", f"{wanted}, as the first line names"))
        written = {name: text for name, cell in row.cells.items() if (text := text_of(cell).strip())}
        reading = {name: _number(text) if name in numbers else text for name, text in written.items()}
        wrong = [name for name, value in reading.items() if value is None]
        faults += [_fault(row.number, f"{name} is {written[name]!r}.", "a number") for name in wrong]
        readings.append(reading)
    if faults:
        raise _invalid(faults)
    return ReadingsTable(readings=tuple(readings), lines=tuple(row.number for row in rows))


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
