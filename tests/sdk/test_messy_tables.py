"""Tables as offices have them: the whole list comes back, each bad row with its cell, what it holds and what is wrong.

Jobs are checked by the service itself; a stand-in computes."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import requests
import responses
import xlsxwriter
from sheetmargin.cli import main
from sheetmargin.tables.files import TableError
from sheetmargin.tables.read import read_table
from sheetmargin.tables.write import as_text
from support.apps import app_of

URL = "http://service.example"
ROWS = 300
HEADS = {
    "de": (
        "Art.-Nr.",
        "Sorte",
        "Flächengewicht [g/m²]",
        "DICKE (mm)",
        "Flattern mm",
        "Bahnen",
        "angelegt",
        "Bemerkung",
    ),
    "en": ("SKU", "Substrate", "GRAMMAGE (gsm)", "Caliper [mm]", "flutter, mm", "Lanes", "since", "remark"),
    "fr": (
        "code interne",
        "Matière",
        "poids au m²",
        "Épaisseur en mm",
        "flottement [mm]",
        "Voies",
        "depuis",
        "remarque",
    ),
}
NAMES = {
    "de": ("Kopierpapier", "Kraftpapier", "Graukarton"),
    "en": ("copy paper", "kraft paper", "greyboard"),
    "fr": ("copy-paper", "kraft-paper", "greyboard"),
}
FILES = {"utf-8": (",", "."), "utf-8-sig": (";", ","), "utf-16": ("\t", ","), "latin-1": (";", ","), "xlsx": ("", ",")}
"""How each is written: what divides cells, and the decimal mark."""
WRONG: Mapping[str, tuple[dict[int, str], int | None, str]] = {
    "a material misspelt": ({1: "Coppy-Paper"}, 1, "is not a material of the library"),
    "no material": ({1: ""}, None, "Enter a material"),
    "no size": ({2: "", 3: ""}, None, "Enter a grammage or a thickness"),
    "words for a number": ({2: "achtzig"}, 2, "wrong type"),
    "a negative number": ({2: "-80"}, 2, "out of range"),
    "a unit of something else": ({2: "80 mm"}, 2, "'mm' is no unit of grammage_gsm"),
    "two sizes that contradict": ({1: "pet", 2: "80", 3: "2 µm"}, 2, "impossible for polyester film"),
    "thousands or fraction": ({3: "?"}, 3, "It may be 1234 or 1.234"),
    "an error of a formula": ({2: "#N/A"}, 2, "wrong type"),
    "a number out of range": ({4: "900"}, 4, "out of range"),
}
"""By kind: cells, the column to blame, and what the message says."""


def cells_of(number: int, language: str, mark: str) -> tuple[list[Any], dict[str, Any] | None, str | None]:
    """A row, the job it means where it is good, and how it is bad."""
    name = NAMES[language][number % 3]
    grams = (80, 90, 300)[number % 3] + number % 7
    shown = (str(grams), f"{grams} gsm", f"{grams} g/m²", f" {grams}{mark}0 ")[number % 4]
    day: Any = date(2024, 1 + number % 12, 1 + number % 28)
    cells: list[Any] = [f"{number:05d}", name, shown, "", "", "2" if number % 5 == 0 else "", day, "=1+1"]
    job: dict[str, Any] = {"sheets": [{"material": name, "grammage_gsm": grams}], "limit": 1}
    line: dict[str, Any] = {}
    if number % 6 == 1:
        cells[4], line["flutter_mm"] = f"1{mark}5", 1.5
    if cells[5]:
        line["lanes"] = 2
    if line:
        job["line"] = line
    if number % 10 != 3:
        return cells, job, None
    kind = list(WRONG)[number // 10 % len(WRONG)]
    for index, text in WRONG[kind][0].items():
        # A mark that the file does not use for fractions.
        cells[index] = text.replace("?", "1.234" if mark == "," else "1,234")
    return cells, None, kind


def write(path: Path, language: str, kind: str) -> dict[int, tuple[list[Any], dict[str, Any] | None, str | None]]:
    """A list with titles above and blank rows within; what each row of the file holds, by its number."""
    divider, mark = FILES[kind]
    above = [["Preisliste / price list / tarif", "", "2026"], []]
    rows: list[list[Any]] = [*above, list(HEADS[language])]
    held = {}
    for number in range(ROWS):
        row = cells_of(number, language, mark)
        if number % 50 == 20:
            rows.append([""] * 8)
        rows.append(row[0])
        held[len(rows)] = row
    if kind == "xlsx":
        with xlsxwriter.Workbook(path) as book:
            book.add_worksheet("Deckblatt").write(4, 2, "Lager Süd")
            sheet = book.add_worksheet("Liste")
            day = book.add_format({"num_format": "dd.mm.yyyy"})
            for at, cells in enumerate(rows):
                for index, cell in enumerate(cells):
                    if cell == "#N/A":
                        sheet.write_formula(at, index, "=NA()", None, cell)
                    elif isinstance(cell, date):
                        sheet.write_datetime(at, index, cell, day)
                    elif index == 2 and cell.isdigit():
                        sheet.write_number(at, index, int(cell))
                    else:
                        sheet.write_string(at, index, cell)
        return held
    text = io.StringIO()
    csv.writer(text, delimiter=divider).writerows([[as_text(cell) for cell in cells] for cells in rows])
    path.write_bytes(text.getvalue().encode(kind, "replace"))
    return held


@pytest.fixture
def asked() -> Iterator[list[dict[str, Any]]]:
    """The service, at an address; the jobs that it is asked."""
    api, jobs = app_of().test_client(), []

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], bytes]:
        if request.method == "POST":
            assert isinstance(request.body, bytes)
            jobs.extend(json.loads(line) for line in request.body.splitlines())
        path = str(request.url).removeprefix(URL)
        # Read whole and closed: a call under way holds off the next.
        with api.open(path, method=request.method, data=request.body, headers=dict(request.headers)) as reply:
            return reply.status_code, {"Content-Type": str(reply.content_type)}, reply.data

    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        for method in ("GET", "POST"):
            mock.add_callback(method, re.compile(f"{URL}/.*"), callback=answer)
        yield jobs


EVERY = [(language, kind) for language in HEADS for kind in FILES]
PLAIN = (("de", "latin-1"), ("fr", "xlsx"))


@pytest.mark.parametrize(
    ("language", "kind"), [pytest.param(*one, marks=[] if one in PLAIN else pytest.mark.long) for one in EVERY]
)
def test_a_messy_list_comes_back_whole(
    asked: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str], language: str, kind: str
) -> None:
    given = tmp_path / ("list.xlsx" if kind == "xlsx" else "list.csv")
    held = write(given, language, kind)
    code = main(["batch", str(given), "-o", str(tmp_path / "out.xlsx"), "--url", URL])
    told = capsys.readouterr().err
    assert code == 5, told
    assert f"{ROWS} rows: " in told
    assert f"{ROWS // 10} wrong" in told
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx").worksheets[0]
    head, *rows = [list(row) for row in sheet.iter_rows(values_only=True)]
    assert head[:8] == list(HEADS[language])
    filled = [row for row in rows if any(row[:8])]
    assert len(rows) == ROWS + ROWS // 50
    assert [row[0] for row in filled] == [cells[0] for cells, _, _ in held.values()]
    good = [job for _, job, _ in held.values() if job is not None]
    assert [job for job in asked if job in good] == good
    for (number, (cells, _, bad)), row in zip(held.items(), filled, strict=True):
        result = dict(zip(head[8:], row[8:], strict=True))
        problem = str(result["problem"] or "")
        assert row[7] == "=1+1"
        if kind == "xlsx":
            assert row[6].date() == cells[6]
        if bad is None:
            assert (result["verdict"] is not None, problem) == (True, ""), (cells, problem)
            continue
        _, column, says = WRONG[bad]
        assert result["verdict"] is None
        assert re.search(says, problem), (bad, problem)
        if column is not None:
            place = f"{'ABCDEFGH'[column]}{number} holds {cells[column]!r}."
            assert result["problem_field"] == head[column]
            assert place in problem, (bad, problem)


def test_the_proposal_is_a_file_for_the_next_call(
    asked: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "list.csv"
    table.write_text("Lager Süd\n\nTyp;Maß;Platz\nKopierpapier;0,104;A 7\n", encoding="cp1252")
    options = ["--map", "Typ=material", "--map", "Maß=thickness_um mm"]
    assert main(["batch", str(table), "--dry-run", "--url", URL, *options]) == 0
    proposal = capsys.readouterr().out
    assert asked == []
    assert proposal == (
        "# cp1252: the head is row 3, 1 rows from row 4, decimal comma\n"
        "[columns]\n"
        '"Typ" = "material"\n'
        '"Maß" = "thickness_um mm"\n'
        '"Platz" = ""  # kept as it is\n'
        '# row 4: {"sheets": [{"material": "Kopierpapier", "thickness_um": 104.0}]}\n'
    )
    (tmp_path / "map.toml").write_text(proposal, encoding="utf-8")
    # The same list as a pipe, and chosen columns to another.
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(table.read_bytes())))
    chosen = ["--columns", "Platz, verdict"]
    code = main(["batch", "-", "-o", "-", "--map", str(tmp_path / "map.toml"), "--url", URL, *chosen])
    out, err = capsys.readouterr()
    assert code == 0, err
    assert out.splitlines()[0] == "Platz,verdict"
    assert out.splitlines()[1].startswith("A 7,")
    assert len(asked) == 1
    assert "'Typ': material, 'Maß': thickness_um mm" in err


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--map", "Typ=nothing"], "'nothing' is no field of a job"),
        (["--map", "Typ"], "neither COLUMN=FIELD nor a file"),
        (["--map", "Type=material"], "has no column 'Type'; it has 'Typ'"),
        (["--sheet", "2"], "has no sheets to choose from"),
        (["--encoding", "latin-99"], "There is no encoding 'latin-99'"),
        (["--head-row", "9"], "has no head"),
        (["--map", "Typ=material", "--columns", "verdikt"], "--columns: the output has no 'verdikt'; it has verdict"),
        ([], "No column is a field of a job"),
    ],
)
def test_what_is_wrong_with_the_options_is_told(
    asked: list[dict[str, Any]], tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], says: str
) -> None:
    table = tmp_path / "list.csv"
    table.write_text("Typ\npet\n", encoding="utf-8")
    assert main(["batch", str(table), "-o", str(tmp_path / "out.csv"), "--url", URL, *options]) == 2
    assert says in capsys.readouterr().err
    assert asked == []


@pytest.fixture
def workbook(tmp_path: Path) -> Path:
    path = tmp_path / "list.xlsx"
    with xlsxwriter.Workbook(path) as book:
        for name, material in (("Info", None), ("Nord", "pet"), ("3", "bopp")):
            sheet = book.add_worksheet(name)
            if material:
                sheet.write_row(2, 1, ["Sorte", "Dicke"])
                sheet.write_row(3, 1, ["", "mm"])
                sheet.write_row(4, 1, [material, 0.5])
    return path


@pytest.mark.parametrize(("wanted", "material"), [(None, "pet"), ("Nord", "pet"), ("2", "pet"), ("3", "bopp")])
def test_the_sheet_with_a_head_is_taken_or_the_one_that_is_named(
    workbook: Path, wanted: str | None, material: str
) -> None:
    table = read_table(workbook, sheet=wanted)
    (row,) = table
    assert list(table.columns) == ["column 1", "Sorte", "Dicke [mm]"]
    assert (row.number, row.cells["Sorte"]) == (5, material)
    assert str(table.meanings["Dicke [mm]"]) == "thickness_um mm"


def test_a_sheet_that_is_not_there(workbook: Path) -> None:
    with pytest.raises(TableError, match="no sheet 'Süd'; it has 'Info', 'Nord', '3'"):
        read_table(workbook, sheet="Süd")


@pytest.mark.parametrize("spoil", [lambda text: text.encode("utf-16-le"), lambda text: text.encode("utf-16-be")])
def test_utf_16_without_its_mark(tmp_path: Path, spoil: Callable[[str], bytes]) -> None:
    path = tmp_path / "list.csv"
    path.write_bytes(spoil("Sorte;Größe\nÖlpapier;1\n"))
    assert read_table(path).columns == ("Sorte", "Größe")


def test_an_owners_columns_may_have_the_same_name(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("Sorte,Info,Info\npet,a,b\n")
    assert read_table(path).columns == ("Sorte", "Info", "Info (2)")
    path.write_text("Sorte,Sorte\npet,a\n")
    with pytest.raises(TableError, match="'Sorte' more than once"):
        read_table(path)
