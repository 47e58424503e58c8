"""Whatever stands in a cell comes back as it was, through every kind of file."""

from __future__ import annotations

import csv
import tempfile
import zipfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sheetmargin.tables.cells import text_of
from sheetmargin.tables.read import read_table
from sheetmargin.tables.write import writing

TEXTS = st.text(st.characters(codec="utf-8"), max_size=12)
CELLS = st.tuples(TEXTS, st.sampled_from(["", ",", ";", '"', "\n", "0012", "1e5", "=1+1", " x "])).map("".join)


@pytest.mark.parametrize("suffix", [".csv", ".xlsx", ".parquet"])
@settings(max_examples=40, deadline=None)
@given(rows=st.lists(st.tuples(CELLS, CELLS), min_size=1, max_size=8))
@example(rows=[("a\nb", 'c"d'), ('"', ",;"), ("", "x")])
@example(rows=[("'=1", "''@x"), ("'-1", "-1")])
@example(rows=[("=HYPERLINK(1)", "@x"), ("http://example", "x" * 3000)])
def test_cells_come_back(suffix: str, rows: list[tuple[str, str]]) -> None:
    # A row of blanks at the end is none.
    told = [*rows, ("end", "end")]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"table{suffix}"
        with writing(path, ["owner's own", "material"], numbers=[]) as write:
            for one, other in told:
                write({"owner's own": one, "material": other})
        table = read_table(path)
        assert table.columns == ("owner's own", "material")
        assert [tuple(map(text_of, row.cells.values())) for row in table] == told
        assert len(table) == len(told)


FORMULAS = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "'=1+1", '=HYPERLINK("http://evil.example")']


def test_a_cell_that_begins_as_a_formula_is_text_in_csv(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    cells = [*FORMULAS, "-4.5", "-4,5", "http://example", "5'"]
    with writing(path, ["=name", "material"], numbers=[]) as write:
        for cell in cells:
            write({"=name": cell, "material": "pet"})
    with path.open(encoding="utf-8-sig", newline="") as file:
        head, *rows = csv.reader(file)
    assert head == ["'=name", "material"]
    assert [row[0] for row in rows] == [f"'{cell}" for cell in FORMULAS] + cells[len(FORMULAS) :]
    assert [row.cells["=name"] for row in read_table(path)] == cells


def test_a_spreadsheet_has_no_formulas_and_no_links(tmp_path: Path) -> None:
    path = tmp_path / "table.xlsx"
    with writing(path, ["owner", "material"], numbers=[]) as write:
        for cell in [*FORMULAS, "http://evil.example", "mailto:evil@evil.example", "internal:Sheet1!A1"]:
            write({"owner": cell, "material": "pet"})
    with zipfile.ZipFile(path) as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
        names = parts.namelist()
    assert "<f>" not in sheet
    assert "hyperlink" not in sheet
    assert not [name for name in names if "externalLink" in name]


@pytest.mark.parametrize("suffix", [".xlsx", ".parquet"])
@pytest.mark.parametrize(
    ("cells", "back"),
    [
        (["1", "2.5", ""], ["1", "2.5", ""]),
        (["-0.001", "123456789012345"], ["-0.001", "123456789012345"]),
        (["0012", "7"], ["0012", "7"]),
        (["1e5", "7"], ["1e5", "7"]),
        (["12 g", "7"], ["12 g", "7"]),
        (["1234567890123456", "7"], ["1234567890123456", "7"]),
    ],
)
def test_numbers_are_numbers_where_nothing_is_lost(
    suffix: str, cells: list[str], back: list[str], tmp_path: Path
) -> None:
    path = tmp_path / f"table{suffix}"
    with writing(path, ["name", "number"], numbers=["number"]) as write:
        for cell in cells:
            write({"name": "x", "number": cell})
    assert [text_of(row.cells["number"]) for row in read_table(path)] == back
