"""`sheetmargin batch stock.csv -o out.xlsx`: a table of sheets in, the same table with what serves each out."""

from __future__ import annotations

import argparse
import sys
from collections import Counter, deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sheetmargin.bulk import MOST_JOBS
from sheetmargin.cli.service import client_of
from sheetmargin.cli.speech import language, say
from sheetmargin.cli.table_options import add_table_options, chosen, opened, proposal, table_errors, tell_columns
from sheetmargin.client import Client
from sheetmargin.errors import InvalidJob
from sheetmargin.outcome import Outcome
from sheetmargin.report.quote import COLUMNS, row_of
from sheetmargin.report.words import Words
from sheetmargin.tables.cells import text_of
from sheetmargin.tables.columns import columns
from sheetmargin.tables.files import checked_suffix, part
from sheetmargin.tables.job import RowError, job_of, named_by_column
from sheetmargin.tables.read import Row, Table
from sheetmargin.tables.write import MOST_XLSX_ROWS, writing

ALL_ANSWERED, SOME_BAD = 0, 5
RETRIES = 8
"""A service that is started anew is away for about as long as these take."""
TOLD_ROWS = 20
NEEDS = {".csv": (), ".xlsx": ("openpyxl", "xlsxwriter"), ".parquet": ("polars",)}
VERDICTS = ("suitable", "trial-needed", "unsuitable")


def add_batch_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("table", type=Path, help="CSV, XLSX or Parquet; - reads standard input")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="where the answers go: .csv, .xlsx or .parquet; - is CSV"
    )
    add_table_options(parser)
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
    output = _checked_output(arguments)
    with opened(arguments) as table:
        if arguments.dry_run:
            print(proposal(table))
            return ALL_ANSWERED
        if output is not None and output.suffix.lower() == ".xlsx" and len(table) > MOST_XLSX_ROWS:
            raise InvalidJob(f"{len(table)} rows are more than a spreadsheet holds; write .csv or .parquet.")
        tell_columns(table, quiet=arguments.quiet)
        tally = _Tally()
        try:
            _answer_all(client, table, arguments, output, tally)
        except OSError as error:
            raise InvalidJob(f"{arguments.output} cannot be written: {error.strerror or error}.") from error
    if not arguments.quiet:
        tally.tell(arguments.output)
    return SOME_BAD if tally.bad else ALL_ANSWERED


def _checked_output(arguments: argparse.Namespace) -> Path | None:
    """Where the answers go, None for standard output. Raises InvalidJob before anything is read."""
    if arguments.workers < 1 or not 1 <= arguments.chunk <= MOST_JOBS or arguments.retries < 0:
        raise InvalidJob(f"Expected --workers of at least 1, --chunk of 1 to {MOST_JOBS}, --retries of at least 0.")
    output: Path | None = arguments.output
    if output is None:
        if arguments.dry_run:
            return None
        raise InvalidJob("Say where the answers go, -o FILE, or --dry-run.")
    if str(output) == "-":
        return None
    with table_errors():
        for name in NEEDS[checked_suffix(output)]:
            part(name)
    if not output.parent.is_dir():
        raise InvalidJob(f"{output.parent} is no folder to write to.")
    if output.exists() and arguments.table.exists() and output.samefile(arguments.table):
        raise InvalidJob(f"{output} is the table itself, which would be lost: give -o another name.")
    return output


def _answer_all(
    client: Client, table: Table, arguments: argparse.Namespace, output: Path | None, tally: _Tally
) -> None:
    names = {name: f"result_{name}" if name in table.columns else name for name in COLUMNS}
    tally.problem = names["problem"]
    fields = columns()
    numbers = {name for name, meaning in table.meanings.items() if fields[meaning.field].kind in (int, float)}
    numbers |= {names[name] for name, kind in COLUMNS.items() if kind is float}
    wanted = chosen(arguments, [*table.columns, *names.values()])
    with writing(output, wanted, numbers=numbers, kinds=table.grid.kinds) as write:
        for row, outcome in _answered(client, table, arguments):
            if outcome is None:
                write(row.cells)
                continue
            result = row_of(_placed(outcome, row, table))
            write({**row.cells, **{names[name]: cell for name, cell in result.items()}})
            tally.count(row.number, result)


def _placed(outcome: Outcome, row: Row, table: Table) -> Outcome:
    """The outcome with what is wrong told of the column, the cell and what it holds."""
    if outcome.error is not None:
        faults = named_by_column(outcome.error.errors, table.meanings)
        outcome.error.errors = tuple(
            replace(
                fault,
                detail=say("batch.cell", cell=table.place(row.number, name), text=repr(text), detail=fault.detail),
            )
            if (name := fault.pointer or "") in row.cells and (text := text_of(row.cells[name]))
            else fault
            for fault in faults
        )
    return outcome


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
                yield self._job(row)

    def _job(self, row: Row) -> dict[str, Any] | InvalidJob:
        table = self.table
        try:
            job = job_of(row.cells, meanings=table.meanings, decimal=table.decimal, told=table.decimal_told)
        except RowError as error:
            return InvalidJob(str(error), errors=error.faults)
        # A row has room for one.
        return {"limit": 1, **job}


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


@dataclass(kw_only=True)
class _Tally:
    """What became of the rows."""

    verdicts: Counter[str] = field(default_factory=Counter)
    illustrative: int = 0
    bad: int = 0
    problem: str = "problem"
    """What the column of problems is called in the output."""
    told: list[str] = field(default_factory=list)

    def count(self, number: int, result: Mapping[str, Any]) -> None:
        self.illustrative += result["illustrative"] == "true"
        if result["problem"] is None:
            self.verdicts[result["verdict"]] += 1
            return
        self.bad += 1
        if self.bad <= TOLD_ROWS:
            self.told.append(f"  {say('batch.row', number=number, problem=result['problem'])}")

    def tell(self, output: Path) -> None:
        """Counts and the first bad rows, to standard error."""
        words = Words(language=language.get())
        counts = ", ".join(f"{self.verdicts[word]} {words.of('verdict', word)}" for word in VERDICTS)
        rows = self.verdicts.total() + self.bad
        told = say("batch.told", rows=rows, counts=counts, bad=self.bad, output=output)
        lines = [f"sheetmargin: {told}", *self.told]
        if self.bad > TOLD_ROWS:
            lines.append(f"  {say('batch.more', count=self.bad - TOLD_ROWS, column=self.problem)}")
        if self.illustrative:
            lines.append(say("batch.invented", count=self.illustrative))
        print("\n".join(lines), say("safety"), sep="\n", file=sys.stderr)
