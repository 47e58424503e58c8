"""Tables into files; a spreadsheet takes no cell for a formula or a link."""

from __future__ import annotations

import csv
import itertools
import os
import re
import sys
import tempfile
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, time
from importlib import import_module
from pathlib import Path
from typing import Any

from sheetmargin.tables.cells import Cell, text_of

MOST_XLSX_ROWS = 1_048_575
"""Rows of a sheet, without its head (ECMA-376, part 1: 2^20 rows)."""
NUMBER = r"^-?(0|[1-9][0-9]{0,14})(\.[0-9]+)?$"
"""A text that is the same when it is read as a number of double precision and written again."""
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""How a cell begins that a spreadsheet computes."""
WIDTH = 18
"""Of a spreadsheet's columns, in characters."""

Write = Callable[[Mapping[str, Cell]], object]


@contextmanager
def writing(
    path: Path | None, columns: Sequence[str], *, numbers: Collection[str], kinds: Mapping[str, Any] | None = None
) -> Iterator[Write]:
    """A function that writes a row; None is CSV to standard output. Whoever reads the file sees the old one or, at the
    end, the whole new one. Raises OSError where nothing can be written.

    `numbers` are the columns whose texts are numbers wherever nothing is lost by it; `kinds` is what polars found
    columns to hold.
    """
    if path is None:
        with _csv(sys.stdout, columns) as write:
            yield write
        return
    with tempfile.TemporaryDirectory(prefix=".sheetmargin-", dir=path.parent) as folder:
        new = Path(folder) / f"rows{path.suffix.lower()}"
        if new.suffix == ".csv":
            # With a byte order mark a spreadsheet takes it for UTF-8.
            with new.open("w", encoding="utf-8-sig", newline="") as file, _csv(file, columns) as write:
                yield write
        elif new.suffix == ".xlsx":
            with _xlsx(new, columns, numbers) as write:
                yield write
        else:
            with _parquet(new, columns, numbers, kinds or {}) as write:
                yield write
        os.replace(new, path)


def as_text(cell: Cell) -> Cell:
    """A cell that a spreadsheet does not take for a formula, though it begins as one: an apostrophe goes before it, as
    is typed there. Numbers stay."""
    if isinstance(cell, str) and _begins_as_formula(cell) and not re.match(NUMBER, cell.replace(",", ".")):
        return f"'{cell}"
    return cell


def as_written(text: str) -> str:
    """What `as_text` was given."""
    return text[1:] if text.startswith("'") and _begins_as_formula(text) else text


def _begins_as_formula(text: str) -> bool:
    """Also behind apostrophes, so that one that was there comes back."""
    return text.lstrip("'").startswith(FORMULA)


@contextmanager
def _csv(file: Any, columns: Sequence[str]) -> Iterator[Write]:
    writer = csv.writer(file)
    writer.writerow(map(as_text, columns))
    yield lambda row: writer.writerow([as_text(text_of(row.get(name))) for name in columns])


@contextmanager
def _xlsx(path: Path, columns: Sequence[str], numbers: Collection[str]) -> Iterator[Write]:
    options = {"constant_memory": True, "nan_inf_to_errors": True, "remove_timezone": True}
    with import_module("xlsxwriter").Workbook(path, options) as book:
        sheet = book.add_worksheet()
        shown = {"date": "yyyy-mm-dd", "datetime": "yyyy-mm-dd hh:mm:ss", "time": "hh:mm:ss"}
        formats = {kind: book.add_format({"num_format": shape}) for kind, shape in shown.items()}
        bold = book.add_format({"bold": True})
        sheet.freeze_panes(1, 0)
        sheet.set_column(0, len(columns) - 1, WIDTH)
        for index, name in enumerate(columns):
            sheet.write_string(0, index, name, bold)
        numbered = itertools.count(1)

        def write(row: Mapping[str, Cell]) -> None:
            at = next(numbered)
            for index, name in enumerate(columns):
                cell = _number(row.get(name)) if name in numbers else row.get(name)
                if isinstance(cell, date | time):
                    sheet.write_datetime(at, index, cell, formats[type(cell).__name__])
                elif isinstance(cell, bool | int | float):
                    sheet.write(at, index, cell)
                elif cell is not None and cell != "":
                    sheet.write_string(at, index, text_of(cell))

        yield write


@contextmanager
def _parquet(path: Path, columns: Sequence[str], numbers: Collection[str], kinds: Mapping[str, Any]) -> Iterator[Write]:
    rows: list[list[Cell]] = []
    yield lambda row: rows.append([row.get(name) for name in columns])
    polars = import_module("polars")
    frame = {}
    for index, name in enumerate(columns):
        cells = [None if row[index] == "" else row[index] for row in rows]
        read = [_number(cell) for cell in cells] if name in numbers else cells
        types = {type(cell) for cell in read if cell is not None}
        if types == {int, float}:
            read, types = [float(cell) if isinstance(cell, int) else cell for cell in read], {float}
        # A column has one kind of cell here: of several, each is a text.
        whole = len(types) == 1
        texts = [cell if cell is None else text_of(cell) for cell in cells]
        frame[name] = polars.Series(
            name, read if whole else texts, dtype=kinds.get(name, None if whole else polars.String)
        )
    polars.DataFrame(frame).write_parquet(path)


def _number(cell: Cell) -> Cell:
    """A text as the number that it is written as, where it is one."""
    return float(cell) if isinstance(cell, str) and re.match(NUMBER, cell) else cell
