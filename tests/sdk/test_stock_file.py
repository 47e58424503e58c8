"""A whole stock list through the real service: by the command, and by the workers of a cluster."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import distributed
import pytest
from joblib.externals.loky import get_reusable_executor
from sheetmargin import Client, InvalidJob, Outcome
from sheetmargin.cli import main
from sheetmargin.tables.headers import meanings_of
from sheetmargin.tables.job import job_of, named_by_column
from support.catalogues import OWN
from support.stock import BAD, COLUMNS, StockRow, stock_csv, stock_rows

SEED = 20
STOCK = {"good": 450, "unsuitable": 30, "bad": 20, "seed": SEED}
SHELF = {"good": 75, "unsuitable": 15, "bad": 10, "seed": SEED}


@pytest.fixture
def catalogue(tmp_path: Path) -> Path:
    path = tmp_path / "own.toml"
    path.write_text(OWN)
    return path


def judge(row: StockRow, result: Mapping[str, object]) -> None:
    """That a row got what its kind deserves."""
    assert result["catalogue_version"] or row.kind in BAD
    if row.kind in BAD:
        assert result["problem"], row
        assert not result["verdict"]
        assert (result["problem_field"] or None) == BAD[row.kind].field, (row, result)
    elif row.kind == "unsuitable":
        assert result["verdict"] == "unsuitable", (row, result)
        assert result["why"]
        assert not result["detector_class"]
    else:
        assert result["verdict"] in ("suitable", "trial-needed"), (row, result)
        assert str(result["detector_class"]).startswith("own-")
        assert "T-" in str(result["order"])
        assert not result["problem"]


@pytest.mark.parametrize("stock", [SHELF, pytest.param(STOCK, marks=pytest.mark.long)], ids=["shelf", "stock"])
def test_a_stock_file(
    tmp_path: Path, catalogue: Path, capsys: pytest.CaptureFixture[str], stock: Mapping[str, int]
) -> None:
    rows = stock_rows(**stock)
    (tmp_path / "stock.csv").write_text(stock_csv(rows), encoding="utf-8")
    output = tmp_path / "out.csv"
    # Two processes, and long calls, since equal sheets are computed once in a call.
    shares = ["--workers", "2", "--chunk", str(len(rows) // 2), "--catalogue", str(catalogue)]
    assert main(["batch", str(tmp_path / "stock.csv"), "-o", str(output), *shares]) == 5
    with output.open(encoding="utf-8-sig", newline="") as file:
        results = list(csv.DictReader(file))
    assert [result["article"] for result in results] == [row.cells["article"] for row in rows]
    assert len(results) == stock["good"] + stock["unsuitable"] + stock["bad"]
    assert sum(bool(result["verdict"]) for result in results) == stock["good"] + stock["unsuitable"]
    assert sum(bool(result["problem"]) for result in results) == stock["bad"]
    assert len({row.kind for row in rows}) == 12
    for row, result in zip(rows, results, strict=True):
        judge(row, result)
        assert [result[name] for name in COLUMNS] == [row.cells.get(name, "") for name in COLUMNS]
    told = capsys.readouterr().err
    assert f"{stock['unsuitable']} not suitable, {stock['bad']} wrong" in told
    bad = [number for number, row in enumerate(rows, start=2) if row.kind in BAD]
    assert [line.partition(":")[0] for line in told.splitlines() if line.startswith("  row ")] == [
        f"  row {number}" for number in bad
    ]


@contextmanager
def cluster_on_this_machine(folder: Path, workers: int) -> Iterator[distributed.cfexecutor.ClientExecutor]:
    """The executor of a Dask cluster of processes that each hold the service."""
    with (
        distributed.LocalCluster(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, local_directory=str(folder)
        ) as cluster,
        distributed.Client(cluster) as scheduler,
        scheduler.get_executor() as executor,
    ):
        yield executor


@contextmanager
def processes_of_joblib(_: Path, workers: int) -> Iterator[Executor]:
    """The executor of processes under joblib, which each hold the service."""
    with get_reusable_executor(max_workers=workers) as executor:
        yield executor


Workers = Callable[[Path, int], AbstractContextManager[Executor]]


def by_workers(
    start: Workers, rows: list[StockRow], catalogue: Path, folder: Path, *, workers: int, chunk: int
) -> list[Outcome]:
    extra = InvalidJob("The row goes on after the last column.")
    jobs = [extra if row.extra else {"limit": 1, **job_of(row.cells)} for row in rows]
    with Client.in_process(catalogue=catalogue) as client, start(folder, workers) as executor:
        return list(client.recommend_many(jobs, executor=executor, workers=workers, chunk=chunk))


def judge_all(rows: list[StockRow], outcomes: list[Outcome]) -> None:
    for number, (row, outcome) in enumerate(zip(rows, outcomes, strict=True)):
        assert outcome.index == number
        assert outcome.reference in (row.cells["reference"], None)
        if outcome.error is not None:
            outcome.error.errors = named_by_column(outcome.error.errors, meanings_of(COLUMNS))
        judge(row, outcome.row())


@pytest.mark.long
def test_a_stock_file_by_the_workers_of_a_cluster(tmp_path: Path, catalogue: Path) -> None:
    rows = stock_rows(**STOCK)
    outcomes = by_workers(cluster_on_this_machine, rows, catalogue, tmp_path, workers=2, chunk=50)
    judge_all(rows, outcomes)
    assert sum(outcome.answer is not None for outcome in outcomes) == 480
    assert sum(outcome.error is not None for outcome in outcomes) == 20


@pytest.mark.long
def test_a_shelf_by_processes_of_joblib(tmp_path: Path, catalogue: Path) -> None:
    rows = stock_rows(**SHELF)
    outcomes = by_workers(processes_of_joblib, rows, catalogue, tmp_path, workers=2, chunk=25)
    judge_all(rows, outcomes)
    assert sum(outcome.answer is not None for outcome in outcomes) == 90
