"""`sheetmargin batch` against a mock of the service: tables, bad rows, exit codes, going on after a break."""

from __future__ import annotations

import csv
import re
import sys
import tracemalloc
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import polars
import pytest
from sheetmargin import Client
from sheetmargin.cli import main
from sheetmargin.report.quote import COLUMNS
from support.batches import URL, BatchServer, line_for

Run = Callable[..., tuple[int, str]]

STOCK = """\
article,material,grammage_gsm,flutter_mm
0001,copy-paper,80,1.5
0002,"Karton, weiß",250.5,
0003,pet,,"2"
"""


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """Runs `sheetmargin batch INPUT -o OUTPUT ...` in a folder: exit code and standard error."""

    def run_batch(given: str, output: str, *arguments: str, url: str | None = URL) -> tuple[int, str]:
        to = ["--url", url] if url else []
        try:
            code = main(["batch", str(tmp_path / given), "-o", str(tmp_path / output), *to, *arguments])
        except SystemExit as exit_:
            code = int(str(exit_.code))
        out, err = capsys.readouterr()
        assert out == ""
        assert "Traceback" not in err
        return code, err

    return run_batch


def read_csv(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def write(path: Path, text: str) -> None:
    """A table of texts as CSV; in the other kinds its numbers are numbers."""
    if path.suffix == ".csv":
        path.write_text(text, encoding="utf-8")
        return
    texts = polars.read_csv(text.encode(), infer_schema=False)
    frame = texts.with_columns(polars.col("grammage_gsm", "flutter_mm").cast(polars.Float64))
    frame.write_parquet(path) if path.suffix == ".parquet" else frame.write_excel(path)


@pytest.mark.parametrize("given", ["stock.csv", "stock.xlsx", "stock.parquet"])
@pytest.mark.parametrize("output", ["out.csv", "out.xlsx", "out.parquet"])
def test_every_kind_of_table(server: BatchServer, run: Run, tmp_path: Path, given: str, output: str) -> None:
    write(tmp_path / given, STOCK)
    code, told = run(given, output)
    assert code == 0
    assert "3 rows: 0 suitable, 3 trial needed, 0 not suitable, 0 wrong" in told
    assert "Columns that are not fields of a job are kept as they are: 'article'.\n" in told
    assert "an invented example, not a product: 3." in told
    assert "This is not a safety device." in told
    assert server.calls == [
        [
            {"sheets": [{"material": "copy-paper", "grammage_gsm": 80}], "line": {"flutter_mm": 1.5}, "limit": 1},
            {"sheets": [{"material": "Karton, weiß", "grammage_gsm": 250.5}], "limit": 1},
            {"sheets": [{"material": "pet"}], "line": {"flutter_mm": 2}, "limit": 1},
        ]
    ]
    readers: dict[str, Callable[[Path], polars.DataFrame]] = {
        ".csv": lambda path: polars.read_csv(path, schema_overrides={"article": polars.String}),
        ".xlsx": polars.read_excel,
        ".parquet": polars.read_parquet,
    }
    frame = readers[Path(output).suffix](tmp_path / output)
    assert frame.columns == ["article", "material", "grammage_gsm", "flutter_mm", *COLUMNS]
    rows = frame.to_dicts()
    assert [row["article"] for row in rows] == ["0001", "0002", "0003"]
    assert [row["material"] for row in rows] == ["copy-paper", "Karton, weiß", "pet"]
    assert [row["grammage_gsm"] for row in rows] == [80, 250.5, None]
    assert [row["flutter_mm"] for row in rows] == [1.5, None, 2]
    for row in rows:
        told_row = {name: row[name] for name in COLUMNS if row[name] is not None}
        told_row["illustrative"] = str(told_row["illustrative"]).lower()
        assert told_row == {
            "verdict": "trial-needed",
            "detector_class": "invented-1",
            "principle": "ultrasonic",
            "illustrative": "true",
            "set_ups": 1,
            "gap_mm": 42.5,
            "tilt_deg": 0,
            "single_from": 25,
            "single_to": 60,
            "unit": "dB",
            "margin": 7.5,
            "double_as_single_ppm": 12,
            "single_as_double_ppm": 1,
            "order": "1 x pair T-1, 2 x cable",
            "why": "Because. And so. [a book]",
            "trial": "Send 50. Measure.",
            "assumed": "/line/flutter_mm",
            "model_version": "m",
            "catalogue_version": "c",
        }


@pytest.mark.parametrize("output", ["out.csv", "out.xlsx", "out.parquet"])
def test_bad_rows_are_kept_with_their_problem(
    server: BatchServer, run: Run, tmp_path: Path, output: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def send(_client: Client, lines: list[bytes]) -> list[bytes]:
        return [
            b'{"problem": {"status": 422, "errors": [{"code": "x", "pointer": "/sheets/0/grammage_gsm", '
            b'"detail": "No number."}]}}'
            if b"eighty" in line
            else line_for(0, {"sheets": [1]})
            for line in lines
        ]

    monkeypatch.setattr(Client, "send_batch", send)
    write(tmp_path / "stock.csv", "material,grammage_gsm\npet,12\npet,eighty\npet,80,5\npet\n,\n  ,\n")
    code, told = run("stock.csv", output)
    assert code == 5
    assert "4 rows: 0 suitable, 2 trial needed, 0 not suitable, 2 wrong" in told
    assert "\n  row 3: grammage_gsm: B3 holds 'eighty'. No number.\n" in told
    assert "\n  row 4: The row goes on after the last column, with '5': is a comma not quoted?\n" in told
    readers = {".csv": polars.read_csv, ".xlsx": polars.read_excel, ".parquet": polars.read_parquet}
    frame = readers[Path(output).suffix](tmp_path / output)
    assert frame["material"].to_list() == ["pet"] * 4
    assert frame["grammage_gsm"].to_list() == ["12", "eighty", "80", None]
    assert frame["verdict"].to_list() == ["trial-needed", None, None, "trial-needed"]
    assert frame["problem_field"].to_list() == [None, "grammage_gsm", None, None]
    assert [bool(text) for text in frame["problem"]] == [False, True, True, False]


def test_only_the_first_bad_rows_are_told(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", "material,notes\n" + "pet,a,b\n" * 25)
    code, told = run("stock.csv", "out.csv")
    assert code == 5
    assert len(re.findall("^  row ", told, re.M)) == 20
    assert "and 5 more; the column 'problem' has them all" in told
    assert server.calls == []


def test_a_blank_row_in_the_middle_keeps_its_place(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", "material,grammage_gsm\npet,1\n,\n,\npet,3\n")
    code, told = run("stock.csv", "out.csv")
    assert [row["grammage_gsm"] for row in read_csv(tmp_path / "out.csv")] == ["1", "", "", "3"]
    assert [row["problem"] for row in read_csv(tmp_path / "out.csv")] == ["", "", "", ""]
    assert (code, len(server.calls[0])) == (0, 2)
    assert "2 rows: 0 suitable, 2 trial needed, 0 not suitable, 0 wrong" in told


def test_the_table_is_not_written_over(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", STOCK)
    (tmp_path / "link.csv").symlink_to("stock.csv")
    for output in ("stock.csv", "../" + tmp_path.name + "/stock.csv", "link.csv"):
        code, told = run("stock.csv", output)
        assert (code, server.calls) == (2, [])
        assert "is the table itself, which would be lost" in told
    assert (tmp_path / "stock.csv").read_text(encoding="utf-8") == STOCK


@pytest.mark.parametrize("output", ["out.xlsx", "out.parquet"])
def test_what_a_spreadsheet_holds_comes_back_as_it_was(
    server: BatchServer, run: Run, tmp_path: Path, output: str
) -> None:
    """Dates, whole numbers and numbers that are texts, beside the fields of a job and between blank rows."""
    held = {
        "material": ["pet", None, "copy-paper"],
        "grammage_gsm": [70.5, None, 80.0],
        "since": [date(2024, 2, 29), None, date(2025, 12, 1)],
        "asked": [datetime(2026, 1, 2, 3, 4, 5), None, datetime(2026, 11, 30, 23, 59)],
        "pieces": [1200, None, 7],
        "article": ["0007", None, "12"],
    }
    polars.DataFrame(held).write_excel(tmp_path / "stock.xlsx")
    assert run("stock.xlsx", output)[0] == 0
    if output == "out.xlsx":
        found = polars.read_excel(tmp_path / output, drop_empty_rows=False)
    else:
        found = polars.read_parquet(tmp_path / output)
    back = found.select(*held).to_dict(as_series=False)
    assert back == held


def test_an_output_may_be_asked_again(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", STOCK)
    assert run("stock.csv", "out.csv")[0] == 0
    assert run("out.csv", "again.csv")[0] == 0
    assert server.calls[0] == server.calls[1]
    (first, *_) = read_csv(tmp_path / "again.csv")
    assert (first["verdict"], first["result_verdict"]) == ("trial-needed", "trial-needed")


@pytest.mark.parametrize(
    ("text", "flutter"),
    [
        ("material;flutter_mm;lanes\npet;0,5;2\n", 0.5),
        ("material;flutter_mm;lanes\npet;1.234,5;2\n", 1234.5),
        ("material\tflutter_mm\tlanes\npet\t0.5\t2\n", 0.5),
        ('\ufeffmaterial,flutter_mm,lanes\npet,"0,5",2\n', 0.5),
    ],
)
def test_what_spreadsheets_write(
    server: BatchServer, run: Run, tmp_path: Path, text: str, flutter: float | str
) -> None:
    """Semicolons stand where the comma is the decimal sign; what is not clear is left to the service to refuse."""
    write(tmp_path / "stock.csv", text)
    run("stock.csv", "out.csv")
    assert server.calls[0][0]["line"] == {"flutter_mm": flutter, "lanes": 2}


def test_rows_are_cut_into_calls(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", STOCK)
    assert run("stock.csv", "out.csv", "--chunk", "2", "--workers", "2")[0] == 0
    assert sorted(map(len, server.calls)) == [1, 2]
    assert [row["article"] for row in read_csv(tmp_path / "out.csv")] == ["0001", "0002", "0003"]


def test_progress(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", STOCK)
    assert "3/3" in run("stock.csv", "out.csv", "--progress")[1]


def test_a_broken_run_leaves_the_old_output_and_goes_on_from_its_key_file(
    server: BatchServer, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("time.sleep", lambda _: None)
    write(tmp_path / "stock.csv", STOCK)
    (tmp_path / "out.csv").write_text("old")
    resume = ("--chunk", "1", "--resume", str(tmp_path / "keys"))
    server.alter = lambda call, lines: lines if call <= 2 else lines[:-1]
    code, told = run("stock.csv", "out.csv", "--retries", "2", *resume)
    assert (code, len(server.calls)) == (4, 2 + 3)
    assert "cut off" in told
    assert (tmp_path / "out.csv").read_text() == "old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["keys", "out.csv", "stock.csv"]
    server.alter, server.calls = lambda _, lines: lines, []
    code, told = run("stock.csv", "out.csv", *resume)
    assert code == 0
    assert [[job["sheets"][0]["material"] for job in call] for call in server.calls] == [["pet"]]
    assert len(read_csv(tmp_path / "out.csv")) == 3
    code, told = run("stock.csv", "out.csv", "--language", "de", *resume)
    assert (code, "another service, catalogue or language" in told) == (2, True)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("stock.csv", b"", "no head"),
        ("stock.csv", b"\n\n", "no head"),
        ("stock.csv", b"a,b\n1,2\n", "No column is a field of a job"),
        ("stock.csv", b"material,material\n", "column 'material' more than once"),
        ("stock.csv", b'material\npet\n"pet" x\n', "no CSV at line 3"),
        ("stock.txt", b"material\npet\n", "expected a file that ends in .csv, .xlsx, .parquet"),
        ("stock.xlsx", b"material\npet\n", "cannot be read as xlsx"),
        ("stock.parquet", b"material\npet\n", "cannot be read as parquet"),
        ("elsewhere.csv", b"", "stock.csv is no file"),
    ],
)
def test_a_file_that_is_no_table(run: Run, tmp_path: Path, name: str, content: bytes, says: str) -> None:
    (tmp_path / name).write_bytes(content)
    code, told = run(name if name.startswith("stock") else "stock.csv", "out.csv")
    assert (code, told.count("\n")) == (2, 1) or "cannot be read" in told
    assert says in told
    assert not (tmp_path / "out.csv").exists()


@pytest.mark.parametrize(
    ("output", "arguments", "says"),
    [
        ("out.ods", [], "expected a file that ends in"),
        ("nowhere/out.csv", [], "no folder to write to"),
        ("out.csv", ["--workers", "0"], "Expected --workers"),
        ("out.csv", ["--chunk", "1001"], "--chunk of 1 to 1000"),
        ("out.csv", ["--retries", "-1"], "--retries of at least 0"),
        ("out.csv", ["--catalogue", "own.toml"], "is a catalogue file for the service installed here"),
        ("out.csv", ["--resume", "/nowhere/keys"], "unable to open"),
    ],
)
def test_a_wrong_command_line(
    server: BatchServer, run: Run, tmp_path: Path, output: str, arguments: list[str], says: str
) -> None:
    write(tmp_path / "stock.csv", STOCK)
    code, told = run("stock.csv", output, *arguments)
    assert code == 2
    assert says in told
    assert server.calls == []


def test_what_the_system_refuses(
    server: BatchServer, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path / "stock.csv", STOCK)
    (tmp_path / "out.csv").mkdir()
    code, told = run("stock.csv", "out.csv")
    assert (code, "out.csv cannot be written: Is a directory." in told) == (2, True)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.csv", "stock.csv"]

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    code, told = run("stock.csv", "other.csv")
    assert (code, "stock.csv cannot be read: Permission denied." in told) == (2, True)


def test_more_rows_than_a_spreadsheet_holds_are_refused_before_they_are_asked(
    server: BatchServer, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sheetmargin.cli.batch.MOST_XLSX_ROWS", 2)
    write(tmp_path / "stock.csv", STOCK)
    code, told = run("stock.csv", "out.xlsx")
    assert (code, "3 rows are more than a spreadsheet holds; write .csv or .parquet." in told) == (2, True)
    assert server.calls == []


def test_no_service(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("time.sleep", lambda _: None)
    write(tmp_path / "stock.csv", STOCK)
    code, told = run("stock.csv", "out.csv", url="http://127.0.0.1:9")
    assert code == 4
    assert "cannot be reached" in told


def test_a_misspelt_column_is_told(server: BatchServer, run: Run, tmp_path: Path) -> None:
    write(tmp_path / "stock.csv", "material,gramage_gsm\npet,12\n")
    assert "'gramage_gsm' is not a field of a job. Did you mean grammage_gsm?" in run("stock.csv", "out.csv")[1]


def test_without_the_extra_csv_works_and_the_rest_says_what_is_missing(
    server: BatchServer, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path / "stock.csv", STOCK)
    for name in ("polars", "openpyxl", "xlsxwriter", "tqdm"):
        monkeypatch.setitem(sys.modules, name, None)
    assert run("stock.csv", "out.csv")[0] == 0
    for output, arguments in (("out.xlsx", []), ("out.parquet", []), ("out.csv", ["--progress"])):
        code, told = run("stock.csv", output, *arguments)
        assert code == 4
        assert "pip install 'sheetmargin[bulk]'" in told


def test_rows_are_not_gathered(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten times the rows take about the same memory."""
    monkeypatch.setattr(Client, "send_batch", lambda _, lines: [line_for(0, {"sheets": [1]})] * len(lines))

    def peak(rows: int) -> int:
        write(tmp_path / "stock.csv", "material,notes\n" + f"pet,{'x' * 200}\n" * rows)
        tracemalloc.start()
        try:
            assert run("stock.csv", "out.csv", "--chunk", "10")[0] == 0
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    few, many = peak(30), peak(300)
    assert many < 1.5 * few
