"""Tables in files: CSV by itself and row by row; XLSX and Parquet through polars (extra `bulk`)."""

from __future__ import annotations

import csv
import os
import re
import tempfile
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import Any

from sheetmargin.errors import ExtraNotInstalled, InvalidJob

SUFFIXES = (".csv", ".xlsx", ".parquet")
MOST_XLSX_ROWS = 1_048_575
"""Rows of a sheet, without its head (ECMA-376, part 1: 2^20 rows)."""
NUMBER = r"^-?(0|[1-9][0-9]{0,14})(\.[0-9]+)?$"
"""A text that is the same when it is read as a number of double precision and written again."""

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""How a cell begins that a spreadsheet computes."""

Cell = str | int | float | None


@dataclass(frozen=True, kw_only=True)
class Row:
    """Texts by column; `surplus` are cells that no column is for."""

    cells: dict[str, str]
    surplus: tuple[str, ...] = ()

    @property
    def blank(self) -> bool:
        """Whether nothing is written in it."""
        return not any(map(str.strip, (*self.cells.values(), *self.surplus)))


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows of texts, read from their file each time that they are gone through.

    `decimal_comma`: numbers are written as in 0,5.
    """

    columns: tuple[str, ...]
    length: int
    decimal_comma: bool
    read: Callable[[], Iterator[Sequence[str]]]
    """Gives the head and what follows."""
    kinds: Mapping[str, Any]
    """What polars found each column to hold, where it read them."""

    def __len__(self) -> int:
        return self.length

    def __iter__(self) -> Iterator[Row]:
        width = len(self.columns)
        for texts in islice(self.read(), 1, 1 + self.length):
            padded = [*texts[:width], *[""] * (width - len(texts))]
            yield Row(cells=dict(zip(self.columns, padded, strict=True)), surplus=tuple(texts[width:]))


def read_table(path: Path) -> Table:
    """A table with its names in the first row. Raises InvalidJob, before any row is given, for a file that is none."""
    suffix = checked_suffix(path)
    if not path.is_file():
        raise InvalidJob(f"{path} is no file.")
    try:
        delimiter = _delimiter(path) if suffix == ".csv" else None
        kinds: Mapping[str, Any] = {}
        if delimiter is None:
            frame = _frame(path, suffix)
            read, kinds = _frame_reader(frame), {name.strip(): kind for name, kind in frame.schema.items()}
        else:
            read = partial(_csv_rows, path, delimiter)
        rows = read()
        names = tuple(name.strip() for name in next(rows, ()))
        length = max((number for number, row in enumerate(rows, start=1) if any(map(str.strip, row))), default=0)
    except OSError as error:
        raise InvalidJob(f"{path} cannot be read: {error.strerror or error}.") from error
    if not any(names):
        raise InvalidJob(f"{path} has no head: the first row names the columns.")
    names = tuple(name or f"column {number}" for number, name in enumerate(names, start=1))
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InvalidJob(f"{path} has the column {twice[0]!r} more than once.")
    return Table(columns=names, length=length, decimal_comma=delimiter == ";", read=read, kinds=kinds)


@contextmanager
def writing(
    path: Path, columns: Sequence[str], *, numbers: Collection[str], kinds: Mapping[str, Any] | None = None
) -> Iterator[Callable[[Mapping[str, Cell]], object]]:
    """A function that writes a row. Whoever reads the file sees the old one or, at the end, the whole new one.

    `numbers` are the columns that hold numbers, where no cell speaks against it; `kinds` is what polars found others to
    hold. InvalidJob where nothing can be written.
    """
    suffix = checked_suffix(path)
    try:
        with tempfile.TemporaryDirectory(prefix=".sheetmargin-", dir=path.parent) as folder:
            rows = Path(folder) / "rows.csv"
            # With a byte order mark a spreadsheet takes it for UTF-8.
            with rows.open("w", encoding="utf-8-sig", newline="") as file:
                writer = csv.DictWriter(file, columns)
                plain = as_text if suffix == ".csv" else lambda cell: cell
                writer.writerow({name: plain(name) for name in columns})
                yield lambda row: writer.writerow({name: plain(cell) for name, cell in row.items()})
            os.replace(rows if suffix == ".csv" else _converted(rows, suffix, numbers, kinds or {}), path)
    except OSError as error:
        raise InvalidJob(f"{path} cannot be written: {error.strerror or error}.") from error


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


def checked_suffix(path: Path) -> str:
    """The kind of file by its name; InvalidJob for another than a table."""
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise InvalidJob(f"{path} is no table; expected a file that ends in {', '.join(SUFFIXES)}.")
    return suffix


def need_polars(path: Path) -> None:
    """Raise ExtraNotInstalled where a file of this kind needs what is not there."""
    if checked_suffix(path) != ".csv":
        _polars()


def delimiter_of(head: str) -> str:
    """By the first line. Spreadsheets write a semicolon where the comma is the decimal sign."""
    return max(",;\t", key=head.count)


def _delimiter(path: Path) -> str:
    with path.open(encoding="utf-8-sig", errors="replace") as file:
        return delimiter_of(file.readline())


def _csv_rows(path: Path, delimiter: str) -> Iterator[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.reader(file, delimiter=delimiter, strict=True)
        try:
            for row in reader:
                yield [as_written(cell) for cell in row]
        except csv.Error as error:
            raise InvalidJob(f"{path} is no CSV at line {reader.line_num}: {error}.") from error
        except UnicodeDecodeError as error:
            raise InvalidJob(f"{path} is not UTF-8 after line {reader.line_num}; save it as CSV UTF-8.") from error


def _frame(path: Path, suffix: str) -> Any:
    polars = _polars()
    try:
        if suffix == ".parquet":
            return polars.read_parquet(path)
        return polars.read_excel(path, infer_schema_length=None, raise_if_empty=False, drop_empty_rows=False)
    except Exception as error:
        # Each of the readers has errors of its own.
        raise InvalidJob(f"{path} cannot be read as {suffix[1:]}: {error}") from error


def _frame_reader(frame: Any) -> Callable[[], Iterator[Sequence[str]]]:
    def read() -> Iterator[Sequence[str]]:
        yield frame.columns
        for cells in frame.iter_rows():
            yield [_text(cell) for cell in cells]

    return read


def _text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)


def _converted(rows: Path, suffix: str, numbers: Collection[str], kinds: Mapping[str, Any]) -> Path:
    """The rows in another kind of file beside theirs."""
    polars = _polars()
    path = rows.with_suffix(suffix)
    texts = polars.scan_csv(rows, infer_schema=False)
    asked = [polars.col(name) for name in texts.collect_schema() if name in numbers]
    agree = texts.select([column.str.contains(NUMBER).all() for column in asked]).collect()
    found = {name: polars.Float64 for name in agree.columns if agree[name][0]}
    found |= {name: kinds[name] for name in texts.collect_schema() if name in kinds}
    frame = texts.with_columns([_as_kind(polars, name, kind) for name, kind in found.items()])
    if suffix == ".parquet":
        frame.sink_parquet(path)
    else:
        general = {polars.Float64: "General"}
        # Texts are neither formulas nor links.
        with import_module("xlsxwriter").Workbook(
            path, {"strings_to_formulas": False, "strings_to_urls": False}
        ) as book:
            frame.collect().write_excel(book, autofit=True, freeze_panes=(1, 0), dtype_formats=general)
    return path


def _as_kind(polars: Any, name: str, kind: Any) -> Any:
    """A column of texts as what it held before."""
    column = polars.col(name)
    if kind == polars.Boolean:
        return column == "True"
    if kind.is_temporal():
        return column.str.strptime(kind, "%Y-%m-%d" if kind == polars.Date else None)
    return column.cast(kind)


def _polars() -> Any:
    """polars, with what it reads (fastexcel) and writes (xlsxwriter) spreadsheets with."""
    try:
        polars, *_ = (import_module(name) for name in ("polars", "fastexcel", "xlsxwriter"))
    except ModuleNotFoundError as error:
        raise ExtraNotInstalled.missing(error.name or "polars", extra="bulk") from error
    return polars
