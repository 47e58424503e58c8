"""The examples run, and print what they are for."""

from __future__ import annotations

import csv
import io
import json
import os
import runpy
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import polars
import pytest
from sheetmargin_service.app import create_app
from support.shop import serving

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "sdk" / "examples"


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """A service with the catalogue of the examples."""
    with serving(create_app(catalogue=str(EXAMPLES / "shop.toml")), "127.0.0.1") as url:
        yield url


def output(*command: str, cwd: Path = ROOT) -> str:
    """What a command prints that has nothing to complain of."""
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    return done.stdout


@cache
def printed_by(example: str, *arguments: str) -> str:
    """What a Python example prints; it is run in this process, which has loaded the service already."""
    printed, told, before = io.StringIO(), io.StringIO(), sys.argv
    sys.argv = [example, *arguments]
    try:
        with redirect_stdout(printed), redirect_stderr(told):
            runpy.run_path(str(EXAMPLES / example), run_name="__main__")
    finally:
        sys.argv = before
    assert told.getvalue() == ""
    return printed.getvalue()


@pytest.mark.parametrize("example", sorted(path.name for path in EXAMPLES.glob("*.py")))
def test_examples_run(example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # where the price list goes
    assert printed_by(example)


def test_a_quoting_rule_in_thirty_lines() -> None:
    example = EXAMPLES / "quoting_rule.py"
    assert len(example.read_text(encoding="utf-8").splitlines()) <= 30
    printed = printed_by(example.name)
    assert "Q-1: offer shop-400\n  1 x X-400\n" in printed
    assert "2 x choose a bracket" in printed
    assert "subject to a bench trial. Send " in printed
    assert "Q-3: to an engineer: shop-180: " in printed
    assert "Q-4: back to sales: /sheets/0/grammage_gsm: " in printed


def test_a_job_list_from_a_spreadsheet(tmp_path: Path) -> None:
    printed = printed_by("job_list.py")
    for part in ("letterhead", "brochure", "for blank: ", "nothing in this catalogue", "cannot be asked: "):
        assert part in printed
    polars.read_csv(EXAMPLES / "inquiries.csv").write_excel(tmp_path / "inquiries.xlsx")
    again = printed_by("job_list.py", str(tmp_path / "inquiries.xlsx"))
    assert without_request_ids(again) == without_request_ids(printed)


def without_request_ids(text: str) -> list[str]:
    return [line for line in text.splitlines() if "(request " not in line]


def test_a_price_list_as_a_spreadsheet(tmp_path: Path) -> None:
    assert printed_by("price_list.py", str(tmp_path / "prices.xlsx")).startswith("prices.xlsx: ")
    head, *lines = openpyxl.load_workbook(tmp_path / "prices.xlsx", data_only=True).active.iter_rows(values_only=True)
    formulas = openpyxl.load_workbook(tmp_path / "prices.xlsx").active
    assert head[4:] == ("part", "quantity", "price in EUR", "amount in EUR")
    assert {line[2] for line in lines} == {"suitable", "trial-needed", "unsuitable", "wrong"}
    priced = [(at, line) for at, line in enumerate(lines, start=2) if isinstance(line[6], float | int)]
    assert {line[4] for _, line in priced} >= {"X-400", "X-050"}
    for at, line in priced:
        assert line[7] == line[5] * line[6]
        assert formulas.cell(at, 8).value == f"=F{at}*G{at}"
    assert {line[6] for line in lines if line[4] == "bracket"} == {"on request"}
    assert {line[4:] for line in lines if line[2] in ("unsuitable", "wrong")} == {(None,) * 4}


def test_order_lines_for_an_erp(tmp_path: Path) -> None:
    lines = list(csv.DictReader(io.StringIO(printed_by("order_lines.py", str(tmp_path / "lines.json")))))
    told = json.loads((tmp_path / "lines.json").read_text(encoding="utf-8"))["lines"]
    assert [{name: str(line.get(name) or "") for name in lines[0]} for line in told] == lines
    assert {type(line["quantity"]) for line in told if "quantity" in line} == {int}
    assert {line["status"] for line in lines} == {"order", "trial", "unsuitable", "wrong"}
    for line in lines:
        if line["status"] in ("order", "trial"):
            assert int(line["position"]) % 10 == 0
            assert int(line["quantity"]) > 0
            assert bool(line["part_number"]) != (line["text"] == "choose a part number")
        else:
            assert not line["part_number"]
            assert line["text"]
    positions = [(line["reference"], line["position"]) for line in lines]
    assert len(set(positions)) == len(positions)


def test_curl(address: str) -> None:
    printed = output("bash", str(EXAMPLES / "curl.sh"), address).splitlines()
    first, again, job, wrong, batch = (printed[1], printed[3], printed[5], printed[7], printed[9])
    assert first.startswith(("suitable: shop-", "trial: shop-"))
    assert "X-050" in first
    assert again == "304"
    assert ": shop-" in job
    assert wrong == "material: 'coppy-paper' is not a material of the library."
    assert batch == '{"end": {"count": 2, "problems": 1}}'


def test_types_of_the_description_compile(address: str, tmp_path: Path, require_part: Callable[[str], str]) -> None:
    """The types are made anew from the description; a field that is misspelt or of another type does not compile."""
    require_part("node")
    folder = tmp_path / "sdk" / "examples" / "typescript"
    ignored = shutil.ignore_patterns("node_modules", "*.js", "sheetmargin.ts")
    shutil.copytree(EXAMPLES / "typescript", folder, ignore=ignored)
    shutil.copytree(ROOT / "openapi", tmp_path / "openapi")
    lock = (folder / "package-lock.json").read_text(encoding="utf-8")
    assert '"resolved"' not in lock, "the lock file names no registry"
    install(folder)
    output("npm", "run", "-s", "types", cwd=folder)
    output("npm", "run", "-s", "build", cwd=folder)
    printed = output("node", "quote.js", address, cwd=folder)
    assert printed.startswith(("Q-1: trial-needed\n  shop-400 at a gap of ", "Q-1: suitable\n  shop-400 at a gap of "))
    assert "no safety device" in printed
    assert "Q-2: /sheets/0/grammage_gsm: This number is out of range." in printed

    quote = (folder / "quote.ts").read_text(encoding="utf-8")
    wrong = quote.replace("grammage_gsm: 300", "gramage_gsm: 300").replace("limit: 1", 'limit: "1"')
    (folder / "quote.ts").write_text(wrong, encoding="utf-8")
    refused = subprocess.run(["npm", "run", "-s", "build"], cwd=folder, capture_output=True, text=True)
    assert refused.returncode != 0
    assert refused.stdout.count("error TS") == 2


def install(folder: Path) -> None:
    """The packages of the lock file. Without the registry the test is skipped, unless node is asked for."""
    command = ["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    if done.returncode and "node" not in os.environ.get("SHEETMARGIN_REQUIRE", "").split(","):
        pytest.skip(f"needs the npm registry: {done.stderr.strip().splitlines()[-1]}")
    assert done.returncode == 0, done.stderr


def test_a_notebook_with_plots(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its cells one after another; what stands last in a cell is shown."""
    monkeypatch.setenv("MPLBACKEND", "agg")
    notebook = json.loads((EXAMPLES / "grammage.ipynb").read_text(encoding="utf-8"))
    cells = ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]
    names: dict[str, Any] = {}
    with redirect_stdout(io.StringIO()) as printed:
        for cell in cells:
            exec(compile(cell, "grammage.ipynb", "exec"), names)
    assert printed.getvalue().startswith("SUITABLE")
    assert [len(names[figure].axes) for figure in ("ladder", "figure")] == [1, 1]
    assert len(names["chances"]) == 4
    assert max(names["chances"]) >= 0.95
