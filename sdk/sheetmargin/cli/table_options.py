"""Options that say how a table is to be read, and what was read of it, for the command line."""

from __future__ import annotations

import argparse
import difflib
import json
import shutil
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from itertools import islice
from pathlib import Path

from sheetmargin.cli.speech import say
from sheetmargin.errors import ExtraNotInstalled, InvalidJob
from sheetmargin.tables.columns import columns
from sheetmargin.tables.files import PartMissingError, TableError, suffix_of
from sheetmargin.tables.headers import Meaning, of_jobs, told_meaning
from sheetmargin.tables.job import RowError, job_of
from sheetmargin.tables.read import Table, read_table

SHOWN_ROWS = 3


def add_table_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the table")
    group.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="COLUMN=FIELD",
        help="what a column is: COLUMN=thickness_um, COLUMN='thickness_um mm' with the unit of its numbers, COLUMN= "
        "for none; or a TOML file as --dry-run prints it",
    )
    group.add_argument("--dry-run", action="store_true", help="print how the table is read, and ask nothing")
    group.add_argument("--sheet", metavar="NAME", help="sheet of the workbook, by its name or number")
    group.add_argument("--head-row", type=int, metavar="N", help="row that names the columns, from 1")
    group.add_argument("--decimal", choices=("comma", "point"), help="decimal mark, where it cannot be seen")
    group.add_argument("--encoding", metavar="NAME", help="of CSV, where it is not UTF-8, UTF-16 or Windows-1252")
    group.add_argument("--columns", metavar="NAME,NAME", help="columns of the output, in this order")


@contextmanager
def opened(arguments: argparse.Namespace) -> Iterator[Table]:
    """The table of the command line, `-` for standard input. Raises InvalidJob, ExtraNotInstalled."""
    with tempfile.TemporaryDirectory() as folder:
        path = arguments.table
        if str(path) == "-":
            start = sys.stdin.buffer.read(4)
            path = Path(folder) / f"standard-input{suffix_of(start)}"
            with path.open("wb") as file:
                file.write(start)
                shutil.copyfileobj(sys.stdin.buffer, file)
        with table_errors():
            told = _told(arguments.map)
            table = read_table(
                path,
                told=told,
                sheet=arguments.sheet,
                head_row=arguments.head_row,
                encoding=arguments.encoding,
                decimal=arguments.decimal,
            )
            yield replace(table, meanings=of_jobs(table.meanings, told=told))


@contextmanager
def table_errors() -> Iterator[None]:
    """What reading raises, as errors of the client."""
    try:
        yield
    except PartMissingError as error:
        raise ExtraNotInstalled.missing(error.name, extra="bulk") from error
    except TableError as error:
        raise InvalidJob(str(error)) from error


def proposal(table: Table) -> str:
    """How the table is read, as a file for `--map`, with the jobs of the first rows."""
    decimal = f", decimal {table.decimal}" if table.decimal else ""
    lines = [
        f"# {table.grid.told or 'Parquet'}: the head is row {table.head_row}, "
        f"{table.length} rows from row {table.first_row}{decimal}",
        "[columns]",
    ]
    for name in table.columns:
        meaning = table.meanings.get(name)
        line = f"{json.dumps(name, ensure_ascii=False)} = {json.dumps(str(meaning or ''), ensure_ascii=False)}"
        if meaning is None:
            near = difflib.get_close_matches(name, columns(), n=1, cutoff=0.8)
            line += f"  # kept as it is; did you mean {near[0]}?" if near else "  # kept as it is"
        elif meaning.unit is None:
            line += "  # each cell has to tell its unit"
        lines.append(line)
    for row in islice((row for row in table if not row.blank), SHOWN_ROWS):
        try:
            job = job_of(row.cells, meanings=table.meanings, decimal=table.decimal, told=table.decimal_told)
            lines.append(f"# row {row.number}: {json.dumps(job, ensure_ascii=False)}")
        except RowError as error:
            lines += [f"# row {row.number}: {fault}" for fault in error.faults]
    return "\n".join(lines)


def tell_columns(table: Table, *, quiet: bool) -> None:
    """Say what was guessed of the columns, and which are no fields: those may be the owner's own, or misspelt."""
    if not table.meanings:
        raise InvalidJob(
            "No column is a field of a job; expected names such as material, grammage_gsm, thickness_um, or --map."
        )
    lines = []
    if table.head_row > 1:
        lines.append(say("batch.head", row=table.head_row))
    guessed = [f"{name!r}: {meaning}" for name, meaning in table.meanings.items() if name != meaning.field]
    if guessed:
        lines.append(say("batch.read", names=", ".join(guessed)))
    others = [name for name in table.columns if name not in table.meanings]
    if others:
        lines.append(say("batch.kept", names=", ".join(map(repr, others))))
    if quiet:
        lines = []
    for name in others:
        for near in difflib.get_close_matches(name, columns(), n=1, cutoff=0.8):
            lines.append(say("batch.near", column=name, near=near))
    for line in lines:
        print(f"sheetmargin: {line}", file=sys.stderr)


def _told(given: list[str]) -> Mapping[str, Meaning | None]:
    """What `--map` says, in pairs and in files."""
    told: dict[str, str] = {}
    for text in given:
        name, between, field = text.rpartition("=")
        if between and not Path(text).is_file():
            told[name.strip()] = field
            continue
        try:
            found = tomllib.loads(Path(text).read_text(encoding="utf-8"))["columns"]
            told |= {name: str(field) for name, field in found.items()}
        except (OSError, ValueError, KeyError, AttributeError) as error:
            raise InvalidJob(f"--map: {text!r} is neither COLUMN=FIELD nor a file with the table [columns].") from error
    try:
        return {name: told_meaning(field) if field.strip() else None for name, field in told.items()}
    except ValueError as error:
        raise InvalidJob(f"--map: {error}.") from error


def chosen(arguments: argparse.Namespace, names: list[str]) -> list[str]:
    """The columns of the output."""
    if arguments.columns is None:
        return names
    wanted = [name.strip() for name in arguments.columns.split(",")]
    for name in wanted:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=3)
            raise InvalidJob(f"--columns: the output has no {name!r}{'; it has ' + ', '.join(near) if near else ''}.")
    return wanted
