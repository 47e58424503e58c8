"""`sheetmargin characterise`: from a table of readings to a file that the service takes."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheetmargin import Client, local
from sheetmargin.cli import main

READINGS = Path(__file__).parents[2] / "docs" / "readings"
TABLE, DRAFT = READINGS / "own-pair.csv", READINGS / "own-pair.toml"


def test_the_entry_is_a_catalogue_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "own.toml"
    assert main(["characterise", str(TABLE), "--draft", str(DRAFT), "-o", str(file)]) == 0
    out, told = capsys.readouterr()
    assert out == ""
    assert "not known, as ultrasonic-180k has it" in told
    with Client.in_process(catalogue=str(file)) as client:
        (own,) = client.detector_classes("own")
    assert own.id == "own-180"
    text = file.read_text()
    assert text.startswith('source = "our test room, 2026; bench readings, own-pair.csv"\n')
    assert main(["characterise", str(TABLE), "--draft", str(DRAFT)]) == 0
    assert capsys.readouterr().out == text, "printed as it is written"


def test_the_air_of_the_bench_counts(capsys: pytest.CaptureFixture[str]) -> None:
    entries = []
    for air in ([], ["--temperature-c", "35", "--relative-humidity-pct", "80"]):
        assert main(["characterise", str(TABLE), "--id", "own", "--frequency-khz", "180", *air]) == 0
        entries.append(capsys.readouterr().out)
    assert entries[0] != entries[1]


def test_decimal_commas_are_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    german = tmp_path / "own-pair.csv"
    german.write_text(TABLE.read_text().replace(",", ";").replace(".", ","))
    known = ["--id", "own", "--frequency-khz", "180"]
    assert main(["characterise", str(TABLE), *known]) == main(["characterise", str(german), *known]) == 0
    both = capsys.readouterr().out
    assert both[: len(both) // 2] == both[len(both) // 2 :]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("level_db", "volume"), "There is no column 'volume'"),
        (("open,20,25", "open,loud,25"), "level_db is 'loud'"),
        (("sheet,0.9,40,least,,pet,12", "sheet,12.9,40,least,,pet,12"), "Line 6: 12.9 dB is"),
        (("blocked", "closed"), "Line 14: state is 'closed'"),
    ],
)
def test_what_is_wrong_is_told_by_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], change: tuple[str, str], told: str
) -> None:
    table = tmp_path / "own.csv"
    assert change[0] in TABLE.read_text()
    table.write_text(TABLE.read_text().replace(*change))
    assert main(["characterise", str(table), "--id", "own", "--frequency-khz", "180"]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ([], "expected --id and --frequency-khz, or --draft"),
        (["--draft", "nowhere.toml"], "nowhere.toml cannot be read"),
        (["--draft", str(DRAFT), "--id", "own"], "described twice"),
        (["--draft", str(DRAFT), "-o", "/nowhere/own.toml"], "/nowhere/own.toml cannot be written"),
    ],
)
def test_a_command_line_that_is_wrong(capsys: pytest.CaptureFixture[str], options: list[str], told: str) -> None:
    assert main(["characterise", str(TABLE), *options]) == 2
    assert told in capsys.readouterr().err


def test_without_the_service(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(local, "entry_points", lambda **_: ())
    assert main(["characterise", str(TABLE), "--id", "own", "--frequency-khz", "180"]) == 4
    assert "pip install 'sheetmargin[service]'" in capsys.readouterr().err
