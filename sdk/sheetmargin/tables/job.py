"""A row of a table as a job."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from sheetmargin.contract.problem import Fault
from sheetmargin.tables.cells import Cell, Decimal, UnclearCellError, text_of, value_of
from sheetmargin.tables.columns import columns
from sheetmargin.tables.headers import Meaning, meanings_of, of_jobs


class RowError(ValueError):
    """Cells of a row are not clear; `faults` point at their columns."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        super().__init__("The row cannot be read.")
        self.faults = tuple(faults)


def job_of(
    row: Mapping[str, Cell],
    *,
    meanings: Mapping[str, Meaning] | None = None,
    decimal: Decimal | None = None,
    told: bool = False,
) -> dict[str, Any]:
    """The job of a row's cells, by the names of the contract; cells of other columns and empty ones are left out.

    Without `meanings` the names of the columns say what they are. `decimal`: how the table writes fractions, where that
    is known, and whether its owner told so. Raises RowError.
    """
    meanings = of_jobs(meanings_of(tuple(row))) if meanings is None else meanings
    job: dict[str, Any] = {"sheet": {}}
    faults = []
    for name, meaning in meanings.items():
        cell, column = row.get(name), columns()[meaning.field]
        if not text_of(cell).strip():
            continue
        owner = job
        for step in column.path[:-1]:
            owner = owner.setdefault(step, {})
        try:
            owner[column.path[-1]] = value_of(cell, column, meaning, decimal=decimal, told=told)
        except UnclearCellError as error:
            faults.append(Fault(code="cell", detail=str(error), pointer=name, expected=error.expected))
    if faults:
        raise RowError(faults)
    return {"sheets": [job.pop("sheet")], **job}


def named_by_column(faults: Iterable[Fault], meanings: Mapping[str, Meaning]) -> tuple[Fault, ...]:
    """Faults of a job with each pointer replaced by the column that fills the place; where none does, by the field."""
    return tuple(_named(fault, meanings) for fault in faults)


def _named(fault: Fault, meanings: Mapping[str, Meaning]) -> Fault:
    place = (fault.pointer or "").replace("/sheets/0", "/sheet", 1)
    steps = [step for step in place.split("/")[1:] if not step.isdigit()]
    fields = columns()
    names = {fields[meaning.field].path: name for name, meaning in reversed(list(meanings.items()))}
    known = {column.path: name for name, column in reversed(list(fields.items()))}
    name = names.get(tuple(steps)) or known.get(tuple(steps))
    return replace(fault, pointer=name) if name else fault
