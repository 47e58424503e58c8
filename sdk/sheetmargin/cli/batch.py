"""`sheetmargin batch stock.csv -o out.xlsx`: a table of sheets in, the same table with what serves each out."""

from __future__ import annotations

import argparse
import difflib
import sys
from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sheetmargin.bulk import MOST_JOBS
from sheetmargin.cli.service import client_of
from sheetmargin.cli.speech import language, say
from sheetmargin.client import Client
from sheetmargin.columns import columns, job_of, named_by_column
from sheetmargin.errors import InvalidJob
from sheetmargin.outcome import Outcome
from sheetmargin.report.quote import COLUMNS, row_of
from sheetmargin.report.table import MOST_XLSX_ROWS, Row, Table, checked_suffix, need_polars, read_table, writing
from sheetmargin.report.words import Words

ALL_ANSWERED, SOME_BAD = 0, 5
RETRIES = 8
"""A service that is started anew is away for about as long as these take."""
TOLD_ROWS = 20
FIRST_ROW = 2
"""Rows are told as a spreadsheet numbers them: the first one is below the head."""
VERDICTS = ("suitable", "trial-needed", "unsuitable")


def add_batch_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("table", type=Path, help="CSV, XLSX or Parquet; its columns are named by the fields of a job")
    parser.add_argument(
        "-o", "--output", type=Path, required=True, metavar="FILE", help="where the answers go: .csv, .xlsx or .parquet"
    )
    parser.add_argument("--progress", action="store_true", help="show a bar (extra bulk)")
    parser.add_argument("--workers", type=int, default=1, metavar="N", help="calls at once (default %(default)s)")
    parser.add_argument("--chunk", type=int, default=50, metavar="N", help="rows in a call (default %(default)s)")
    parser.add_argument(
        "--resume", type=Path, metavar="FILE", help="remember answers in this file, and go on from it after a break"
    )
    parser.add_argument(
        "--retries",
        type=int,
        default=RETRIES,
        metavar="N",
        help="times that a call is asked again that finds the service busy or is cut off (default %(default)s)",
    )
    parser.add_argument("--quiet", action="store_true", help="tell errors only")


def batch(arguments: argparse.Namespace) -> int:
    with client_of(arguments) as client:
        return _batch(client, arguments)


def _batch(client: Client, arguments: argparse.Namespace) -> int:
    """Answer every row; rows that cannot be are kept with their problem. Returns the exit code."""
    for path in (arguments.table, arguments.output):
        need_polars(path)
    if not arguments.output.parent.is_dir():
        raise InvalidJob(f"{arguments.output.parent} is no folder to write to.")
    if arguments.workers < 1 or not 1 <= arguments.chunk <= MOST_JOBS or arguments.retries < 0:
        raise InvalidJob(f"Expected --workers of at least 1, --chunk of 1 to {MOST_JOBS}, --retries of at least 0.")
    if arguments.output.exists() and arguments.output.samefile(arguments.table):
        raise InvalidJob(f"{arguments.output} is the table itself, which would be lost: give -o another name.")
    table = read_table(arguments.table)
    if checked_suffix(arguments.output) == ".xlsx" and len(table) > MOST_XLSX_ROWS:
        raise InvalidJob(f"{len(table)} rows are more than a spreadsheet holds; write .csv or .parquet.")
    _tell_other_columns(table.columns, quiet=arguments.quiet)

    names = {name: f"result_{name}" if name in table.columns else name for name in COLUMNS}
    fields = columns()
    numbers = {name for name in table.columns if name in fields and fields[name].kind in (int, float)}
    numbers |= {names[name] for name, kind in COLUMNS.items() if kind is float}
    tally = _Tally()
    with writing(arguments.output, [*table.columns, *names.values()], numbers=numbers, kinds=table.kinds) as write:
        for number, (row, outcome) in enumerate(_answered(client, table, arguments), start=FIRST_ROW):
            if outcome is None:
                write(row.cells)
                continue
            result = row_of(named_by_column(outcome, table.columns))
            write({**row.cells, **{names[name]: cell for name, cell in result.items()}})
            tally.count(number, result)
    if not arguments.quiet:
        tally.tell(arguments.output, problem=names["problem"])
    return SOME_BAD if tally.bad else ALL_ANSWERED


@dataclass(kw_only=True)
class _Jobs:
    """The jobs of a table's rows as they are taken; `taken` are the rows whose outcome is still to come."""

    table: Table
    taken: deque[Row] = field(default_factory=deque)

    def __len__(self) -> int:
        return len(self.table)

    def __iter__(self) -> Iterator[dict[str, Any] | InvalidJob]:
        for row in self.table:
            self.taken.append(row)
            if row.blank:
                continue
            if row.surplus:
                # A cell may stand in another's place: what the row asks is not known.
                more = ", ".join(map(repr, row.surplus))
                yield InvalidJob(f"The row goes on after the last column, with {more}: is a comma not quoted?")
            else:
                # A row has room for one.
                yield {"limit": 1, **job_of(row.cells, decimal_comma=self.table.decimal_comma)}


def _answered(client: Client, table: Table, arguments: argparse.Namespace) -> Iterator[tuple[Row, Outcome | None]]:
    """Each row with its outcome; a blank one has none."""
    jobs = _Jobs(table=table)
    for outcome in client.recommend_many(
        jobs,
        workers=arguments.workers,
        chunk=arguments.chunk,
        progress=arguments.progress,
        resume=arguments.resume,
    ):
        while jobs.taken[0].blank:
            yield jobs.taken.popleft(), None
        yield jobs.taken.popleft(), outcome


def _tell_other_columns(given: Sequence[str], *, quiet: bool) -> None:
    """A column that is no field may be the owner's own, or misspelt: say so, once."""
    known = columns()
    others = [name for name in given if name not in known]
    if len(others) == len(given):
        raise InvalidJob("No column is a field of a job; expected names such as material, grammage_gsm, thickness_um.")
    if others and not quiet:
        names = ", ".join(map(repr, others))
        print(f"sheetmargin: {say('batch.kept', names=names)}", file=sys.stderr)
    for name in others:
        for near in difflib.get_close_matches(name, known, n=1, cutoff=0.8):
            print(f"sheetmargin: {say('batch.near', column=name, near=near)}", file=sys.stderr)


@dataclass(kw_only=True)
class _Tally:
    """What became of the rows."""

    verdicts: Counter[str] = field(default_factory=Counter)
    illustrative: int = 0
    bad: int = 0
    told: list[str] = field(default_factory=list)

    def count(self, number: int, result: Mapping[str, Any]) -> None:
        self.illustrative += result["illustrative"] == "true"
        if result["problem"] is None:
            self.verdicts[result["verdict"]] += 1
            return
        self.bad += 1
        if self.bad <= TOLD_ROWS:
            self.told.append(f"  {say('batch.row', number=number, problem=result['problem'])}")

    def tell(self, output: Path, *, problem: str) -> None:
        """Counts and the first bad rows, to standard error."""
        words = Words(language=language.get())
        counts = ", ".join(f"{self.verdicts[word]} {words.of('verdict', word)}" for word in VERDICTS)
        rows = self.verdicts.total() + self.bad
        told = say("batch.told", rows=rows, counts=counts, bad=self.bad, output=output)
        lines = [f"sheetmargin: {told}", *self.told]
        if self.bad > TOLD_ROWS:
            lines.append(f"  {say('batch.more', count=self.bad - TOLD_ROWS, column=problem)}")
        if self.illustrative:
            lines.append(say("batch.invented", count=self.illustrative))
        print("\n".join(lines), say("safety"), sep="\n", file=sys.stderr)
