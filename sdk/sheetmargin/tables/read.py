"""A table with its head found: below titles, in any of a workbook's sheets, with units in a row of their own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from sheetmargin.tables.cells import Cell, Decimal, text_of
from sheetmargin.tables.files import Grid, TableError, first_rows, grids
from sheetmargin.tables.headers import Meaning, meaning_of, meanings_of, with_units

LOOKED_AT = 40
"""Rows among which a head is looked for."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """Cells by column, and the row's `number` as a spreadsheet counts; `surplus` are cells that no column is for."""

    number: int
    cells: dict[str, Cell]
    surplus: tuple[str, ...] = ()

    @property
    def blank(self) -> bool:
        """Whether nothing is written in it."""
        return not any(text_of(cell).strip() for cell in (*self.cells.values(), *self.surplus))


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows of a file, read anew each time that they are gone through.

    `meanings` are the columns that fill fields; `decimal` is how fractions are written, as far as that is known, and
    `decimal_told` whether the owner said so; `length` counts rows up to the last that is not blank.
    """

    columns: tuple[str, ...]
    meanings: Mapping[str, Meaning]
    length: int
    grid: Grid
    head_row: int
    first_row: int
    decimal: Decimal | None
    decimal_told: bool

    def __len__(self) -> int:
        return self.length

    def __iter__(self) -> Iterator[Row]:
        width = len(self.columns)
        rows = islice(self.grid.rows(), self.first_row - 1, self.first_row - 1 + self.length)
        for number, cells in enumerate(rows, start=self.first_row):
            padded = [*cells[:width], *[None] * (width - len(cells))]
            yield Row(
                number=number,
                cells=dict(zip(self.columns, padded, strict=True)),
                surplus=tuple(map(text_of, cells[width:])),
            )

    def place(self, number: int, column: str) -> str:
        """A cell as a spreadsheet calls it: `C7`."""
        index, letters = self.columns.index(column) + 1, ""
        while index:
            index, rest = divmod(index - 1, 26)
            letters = chr(ord("A") + rest) + letters
        return f"{letters}{number}"


def read_table(
    path: Path,
    *,
    told: Mapping[str, Meaning | None] | None = None,
    sheet: str | None = None,
    head_row: int | None = None,
    encoding: str | None = None,
    decimal: Decimal | None = None,
    fields: Collection[str] | None = None,
) -> Table:
    """A table whose head names its columns. Raises TableError, before any row is given, for a file that is none.

    `told`: what columns are, by their names, before what the names say; None for a column that is no field. `fields`:
    names that a head is known by, where the table is none of jobs.
    """
    told = told or {}
    try:
        best, head = _headed(grids(path, sheet=sheet, encoding=encoding), told, head_row, fields)
        above = [[text_of(cell).strip() for cell in row] for row in first_rows(best, head + 2)]
        if head >= len(above) or not any(above[head]):
            raise TableError(f"{path} has no head: a row that names the columns.")
        names, first = above[head], head + 2
        named = with_units(names, above[first - 1]) if len(above) >= first else None
        if named is not None:
            names, first = list(named), first + 1
        length, width = 0, len(names)
        for number, cells in enumerate(islice(best.rows(), first - 1, None), start=1):
            if any(text_of(cell).strip() for cell in cells):
                length = number
                width = width if best.ragged else max(width, len(cells))
    except OSError as error:
        raise TableError(f"{path} cannot be read: {error.strerror or error}.") from error
    columns = _distinct([*names, *[""] * (width - len(names))], path)
    unknown = [name for name in told if name not in columns]
    if unknown:
        raise TableError(f"{path} has no column {unknown[0]!r}; it has {', '.join(map(repr, columns))}.")
    return Table(
        columns=columns,
        meanings=meanings_of(columns, told=told),
        length=length,
        grid=best,
        head_row=head + 1,
        first_row=first,
        decimal=decimal or best.decimal,
        decimal_told=decimal is not None,
    )


def _headed(
    ways: Sequence[Grid],
    told: Mapping[str, Meaning | None],
    head_row: int | None,
    fields: Collection[str] | None,
) -> tuple[Grid, int]:
    """The way to read the file, and the row, in which the most cells name fields; of equals the one with most cells,
    then the first."""

    def known(row: Sequence[Cell]) -> tuple[int, int]:
        names = [cell.strip() for cell in row if isinstance(cell, str) and cell.strip()]
        if fields is not None:
            return sum(name in fields for name in names), len(names)
        return sum(name in told or meaning_of(name) is not None for name in names), len(names)

    found: list[tuple[tuple[int, int], Grid, int]] = []
    failed: TableError | None = None
    for grid in ways:
        try:
            rows = first_rows(grid, max(LOOKED_AT, head_row or 0))
        except TableError as error:
            failed = failed or error
            continue
        chosen = [head_row - 1] if head_row else range(len(rows))
        found += [(known(rows[index]), grid, index) for index in chosen if index < len(rows)]
    if not found:
        if failed is not None:
            raise failed
        return ways[0], head_row - 1 if head_row else 0
    score, grid, index = max(found, key=lambda one: one[0])
    if failed is not None and not score[0]:
        raise failed
    return grid, index


def _distinct(names: Sequence[str], path: Path) -> tuple[str, ...]:
    """Names that differ: columns without one by their place, an owner's own by a number, a field's not at all."""
    seen: Counter[str] = Counter()
    found = []
    for number, name in enumerate(names, start=1):
        name = name or f"column {number}"
        seen[name] += 1
        if seen[name] > 1:
            if meaning_of(name) is not None:
                raise TableError(f"{path} has the column {name!r} more than once.")
            name = f"{name} ({seen[name]})"
        found.append(name)
    return tuple(found)
