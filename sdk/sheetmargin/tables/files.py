"""Files of tables as rows of cells: CSV by the standard library row by row, XLSX by openpyxl, Parquet by polars."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import Any

from sheetmargin.tables.cells import Cell, Decimal
from sheetmargin.tables.write import as_written

SUFFIXES = (".csv", ".xlsx", ".parquet")
DELIMITERS: Mapping[str, Decimal | None] = {",": "point", ";": "comma", "\t": None}
"""What divides cells, and how numbers are then written: spreadsheets write a semicolon where the comma is decimal."""
MARKS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}
SNIFFED = 1 << 20


class TableError(ValueError):
    """A file is none that can be read as a table."""


class PartMissingError(TableError):
    """A package is not installed that such a file needs; `name` is its name."""

    def __init__(self, name: str) -> None:
        super().__init__(f"{name} is not installed, which such a file needs.")
        self.name = name


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Rows of cells, read from their file each time that they are gone through; the first is the file's first.

    `ragged`: a row may have more cells than are meant, where a comma is not quoted.
    """

    rows: Callable[[], Iterator[Sequence[Cell]]]
    told: str = ""
    """How the file was read: its encoding, or the sheet."""
    decimal: Decimal | None = None
    ragged: bool = False
    kinds: Mapping[str, Any] = field(default_factory=dict)
    """What polars found each column to hold, where it read them."""


def grids(path: Path, *, sheet: str | None = None, encoding: str | None = None) -> list[Grid]:
    """The ways in which a file may be a table: sheets of a workbook, delimiters of CSV. Raises TableError.

    `sheet`: name of a sheet, or its number from 1. `encoding`: of CSV, where it is not UTF-8, UTF-16 or Windows-1252.
    """
    suffix = checked_suffix(path)
    if not path.is_file():
        raise TableError(f"{path} is no file.")
    if sheet is not None and suffix != ".xlsx":
        raise TableError(f"{path} has no sheets to choose from.")
    if encoding is not None and suffix != ".csv":
        raise TableError(f"{path} is no CSV file, which alone has an encoding.")
    try:
        if suffix == ".parquet":
            return [_parquet(path)]
        if suffix == ".xlsx":
            return _sheets(path, sheet)
        encoding = encoding or _encoding(path)
        codecs.lookup(encoding)
    except LookupError as error:
        raise TableError(f"There is no encoding {encoding!r}.") from error
    except OSError as error:
        raise TableError(f"{path} cannot be read: {error.strerror or error}.") from error
    return [
        Grid(rows=partial(_csv_rows, path, mark, encoding), told=encoding, decimal=decimal, ragged=True)
        for mark, decimal in DELIMITERS.items()
    ]


def checked_suffix(path: Path) -> str:
    """The kind of file by its name; TableError for another than a table."""
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise TableError(f"{path} is no table; expected a file that ends in {', '.join(SUFFIXES)}.")
    return suffix


def suffix_of(start: bytes) -> str:
    """The kind of a file without a name, by its first bytes."""
    return ".xlsx" if start.startswith(b"PK") else ".parquet" if start.startswith(b"PAR1") else ".csv"


def part(name: str) -> Any:
    """A package of the extra; PartMissingError where it is not there."""
    try:
        return import_module(name)
    except ModuleNotFoundError as error:
        raise PartMissingError(error.name or name) from error


def _encoding(path: Path) -> str:
    """UTF-16 and UTF-8 show themselves; what is neither comes from a program of the Western Windows code page, of which
    Latin-1 is a part. Guesses by frequencies of letters are wrong for short tables."""
    with path.open("rb") as file:
        start = file.read(SNIFFED)
        for mark, name in MARKS.items():
            if start.startswith(mark):
                return name
        if start and start.count(0, 1) > len(start) // 4:
            return "utf-16-le" if start[1:2] == b"\0" else "utf-16-be"
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            while start:
                decoder.decode(start)
                start = file.read(SNIFFED)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8"


def _csv_rows(path: Path, delimiter: str, encoding: str) -> Iterator[Sequence[Cell]]:
    with path.open(encoding=encoding, newline="") as file:
        reader = csv.reader(file, delimiter=delimiter, strict=True)
        try:
            for row in reader:
                yield [as_written(cell) for cell in row]
        except csv.Error as error:
            raise TableError(f"{path} is no CSV at line {reader.line_num}: {error}.") from error
        except UnicodeError as error:
            raise TableError(f"{path} is not {encoding} after line {reader.line_num}; tell its encoding.") from error


def _sheets(path: Path, wanted: str | None) -> list[Grid]:
    with _workbook(path) as book:
        names = [sheet.title for sheet in book.worksheets]
    if wanted is not None:
        number = int(wanted) - 1 if wanted.isdigit() and wanted not in names else None
        if wanted not in names and not (number is not None and 0 <= number < len(names)):
            raise TableError(f"{path} has no sheet {wanted!r}; it has {', '.join(map(repr, names))}.")
        names = [wanted if number is None else names[number]]
    return [Grid(rows=partial(_sheet_rows, path, name), told=f"sheet {name!r}") for name in names]


@contextmanager
def _workbook(path: Path) -> Iterator[Any]:
    openpyxl = part("openpyxl")
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except OSError:
        raise
    except Exception as error:
        # A file that is no archive, no workbook or no XML has an error each.
        raise TableError(f"{path} cannot be read as xlsx: {error}") from error
    try:
        yield book
    finally:
        book.close()


def _sheet_rows(path: Path, name: str) -> Iterator[Sequence[Cell]]:
    kind_of = part("openpyxl.styles.numbers").is_datetime
    unescape = part("openpyxl.utils.escape").unescape
    with _workbook(path) as book:
        for row in book[name].iter_rows():
            cells: list[Cell] = []
            for cell in row:
                value = cell.value
                if isinstance(value, str):
                    value = unescape(value)
                elif isinstance(value, datetime) and kind_of(cell.number_format) == "date":
                    value = value.date()
                cells.append(value)
            while cells and cells[-1] is None:
                cells.pop()
            yield cells


def _parquet(path: Path) -> Grid:
    polars = part("polars")
    try:
        frame = polars.read_parquet(path)
    except OSError:
        raise
    except Exception as error:
        # polars has errors of its own.
        raise TableError(f"{path} cannot be read as parquet: {error}") from error

    def rows() -> Iterator[Sequence[Cell]]:
        yield frame.columns
        yield from frame.iter_rows()

    return Grid(rows=rows, kinds={name.strip(): kind for name, kind in frame.schema.items()})


def first_rows(grid: Grid, count: int) -> list[Sequence[Cell]]:
    return list(islice(grid.rows(), count))
