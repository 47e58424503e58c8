"""The figures of a run as one table, printed at its end; `--keep-table` keeps it in the pages that show it."""

from __future__ import annotations

import platform
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = (ROOT / "docs" / "benchmarks.md",)
ROWS = {
    "pymls_over_plate_by_point": ("plate transmission by the point: time of `pymls` over ours", "1,000"),
    "quadrature_over_recommendation": ("the levels of one search by adaptive quadrature over the whole answer", "300"),
    "quadrature_levels": ("(levels in that search, extrapolated from a sample)", ""),
    "default_call_median": (
        "the default call, all classes, in plane-wave solutions: median of 26 sheets",
        "at most 100",
    ),
    "default_call_worst": ("the same: the worst sheet", "at most 250"),
    "default_call_worst_is": ("(which that is)", ""),
    "another_line_over_new": ("the same sheet asked again on another line, over a new sheet: median of 26 sheets", ""),
    "selector_median": ("the selector's question, whole service, in plane-wave solutions: median of 7 sheets", ""),
    "selector_worst": ("the same: the worst sheet", ""),
    "layered_over_plain": ("a sheet of five layers over copy paper", ""),
    "ten_sheets_in_plane_wave_solutions": (
        "ten sheets of a converter's stock in one list, in plane-wave solutions",
        "",
    ),
    "fifty_sheets_of_stock_s": ("fifty sheets of a converter's stock in one list, s of a processor", "10"),
    "fifty_sheets_in_plane_wave_solutions": ("the same in plane-wave solutions", ""),
    "fifty_plates_s": ("fifty plates in one list, s of a processor", "below 3"),
    "fifty_plates_in_plane_wave_solutions": ("the same in plane-wave solutions", ""),
    "stock_jobs_s": ("200 jobs of stock by batch on two cores, s", "a quarter of before"),
    "stock_job_in_plane_wave_solutions": ("one of them in plane-wave solutions, both cores counted", ""),
    "post_over_in_process": ("POST of a recommendation, median, over the call in the process", "at most 1.15"),
    "kept_over_hello": ("GET of an answer that is kept, requests a second over a bare Flask hello", ""),
    "both_cores_over_one": ("a batch on both cores over one", "1.85"),
    "memory_growth": ("growth of memory from job 1,000 to job 20,000", "below 0.2"),
    "import_over_requests": ("`import sheetmargin` over `import requests`", "at most 1.5"),
    "exponent_layers": ("exponent of cost over layers, plane waves through 4 to 32", "at most 1.05"),
    "exponent_layers_answer": ("exponent of cost over layers, whole answers for 4 to 16", ""),
    "exponent_sheets": ("exponent of cost over sheets before one class, 5 to 40", "at most 1.05"),
    "exponent_classes": ("exponent of cost over classes, 8 to 64", "at most 1.05"),
    "exponent_grid": ("exponent of cost over the points of a map, 100 to 1,600", "at most 1.05"),
    "command_s": ("`sheetmargin recommend` of copy paper, by itself, s", ""),
    "start_s": ("start to the first answer, two workers, s", "4"),
    "worker_mb": ("memory of a worker, MB", "at most 120"),
    "operator_kb": ("operators of a class, kB", ""),
}
"""Figure: what it is, and what is aimed at."""

BEFORE_AT = "961d459"
BEFORE: dict[str, float | str] = {
    "default_call_median": 456,
    "default_call_worst": 1967,
    "default_call_worst_is": "steel, 0.2 mm",
    "selector_median": 1036,
    "selector_worst": 1871,
    "layered_over_plain": 1.82,
    "ten_sheets_in_plane_wave_solutions": 4296,
    "fifty_sheets_of_stock_s": 2.1,
    "fifty_sheets_in_plane_wave_solutions": 9708,
    "fifty_plates_s": 4.5,
    "fifty_plates_in_plane_wave_solutions": 21978,
    "stock_jobs_s": 11.5,
    "stock_job_in_plane_wave_solutions": 550,
    "exponent_layers": 0.95,
    "exponent_layers_answer": 1.48,
    "exponent_sheets": 0.58,
    "exponent_classes": 0.98,
    "exponent_grid": 0.2,
}
"""The same figures at that commit, by the same benchmarks on the same machine and day as the table that is kept."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--keep-table", action="store_true", help="write the table of figures to the pages that show it")


@pytest.hookimpl(hookwrapper=True)
def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> Iterator[None]:
    yield
    reports = [
        r for key in ("passed", "failed", "xfailed") for r in terminalreporter.getreports(key) if r.when == "call"
    ]
    figures = {name: value for report in reports for name, value in report.user_properties}
    if not figures:
        return
    lines = [f"| what | figure | at {BEFORE_AT} | aim |", "| --- | --- | --- | --- |"]
    lines += [
        f"| {told} | {_written(figures[name])} | {_written(BEFORE.get(name, ''))} | {aim} |"
        for name, (told, aim) in ROWS.items()
        if name in figures
    ]
    terminalreporter.write_line("")
    for line in lines:
        terminalreporter.write_line(line)
    if config.getoption("--keep-table"):
        table = "\n".join([f"{_machine()}.", "", *lines, ""])
        for page in PAGES:
            head, mark, rest = page.read_text(encoding="utf-8").partition("<!-- table -->\n")
            _, end, tail = rest.partition("<!-- end -->")
            assert end, f"{page} has no place for the table"
            page.write_text(head + mark + table + end + tail, encoding="utf-8")


def _written(figure: float | str) -> str:
    return figure if isinstance(figure, str) else f"{figure:,}"


def _machine() -> str:
    lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return f"Measured on {len(models)} cores of {models[0]}, Python {platform.python_version()}"
