"""`sheetmargin fit --into` and `sheetmargin record`: what was found, in a stock that the service reads."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest
import responses
from sheetmargin import Fit
from sheetmargin.cli import main
from sheetmargin_service.api.stock import stocks_of
from sheetmargin_service.materials.library import load_library
from support.whole import whole

URL = "http://service.example"
SHEET = {
    "material": "custom",
    "label": 'so "called"',
    "grammage_gsm": 80.0,
    "custom": {
        "density_kg_m3": 800.0,
        "youngs_modulus_gpa": 3.0,
        "poisson_ratio": 0.3,
        "loss_factor": 0.05,
        "trapped_air_um": {"p5": 2.0, "p50": 5.4, "p95": 12.0},
    },
}
ESTIMATES = [
    {"name": "trapped_air_um", "fitted": {"nominal": 5.42, "low": 3.76, "high": 7.83}, "informative": True},
    {"name": "loss_factor", "fitted": {"nominal": 0.1, "low": 0.05, "high": 0.2}, "informative": False},
]
COMMAND = ["fit", "--url", URL, "--material", "copy-paper", "--grammage-gsm", "80"]


@pytest.fixture
def readings(tmp_path: Path) -> str:
    path = tmp_path / "readings.csv"
    path.write_text("state,attenuation_db,detector_class,gap_mm\nsingle,45,ultrasonic-400k,26\n")
    return str(path)


def test_a_fit_goes_into_a_stock(service: responses.RequestsMock, tmp_path: Path, readings: str) -> None:
    service.post(f"{URL}/v1/fits", json=whole(Fit, {"fit": {"sheet": SHEET, "estimates": ESTIMATES}}))
    stock = tmp_path / "own.toml"
    stock.write_text('# ours\n[[sheet]]\narticle = "1"\nmaterial = "pet"\nthickness_um = 50\n')
    for article in ("4711", "4712"):
        main([*COMMAND, readings, "--into", str(stock), "--as", article])
    assert stock.read_text().startswith("# ours\n")
    entry = tomllib.loads(stock.read_text())["sheet"][1]
    today = date.today().isoformat()
    assert entry.pop("measured") == f"{today}: 1 readings of readings.csv; trapped_air_um 5.42 (3.76 to 7.83, 90 %)"
    assert entry == {"article": "4711", **SHEET}
    read = stocks_of({"own": stock}, load_library())["own"].sheets
    assert list(read) == ["1", "4711", "4712"]
    assert read["4711"].custom is not None
    assert read["4711"].custom.density_kg_m3 == 800


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--into", "own.toml"], "Give both"),
        (["--as", "4711"], "Give both"),
        (["--into", "own.csv", "--as", "4711"], "expected a stock in TOML"),
        (["--into", "own.toml", "--as", "1"], "has the article 1 already"),
    ],
)
def test_nothing_is_computed_for_an_entry_that_cannot_be(
    tmp_path: Path,
    readings: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    options: list[str],
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.toml").write_text('[[sheet]]\narticle = "1"\n')
    assert main([*COMMAND, readings, *options]) == 2
    assert says in capsys.readouterr().err


STOCK = """# ours
[[sheet]]
article = "1"
material = "pet"
thickness_um = 100

# the heavy one
[[sheet]]
article = "2"
material = "cork"
thickness_um = 8000
[sheet.surface]
gloss = false
"""
TRIAL = ["--detector-class", "ultrasonic-300k", "--gap-mm", "40", "--band", "8", "53", "--doubles", "1000"]


def words(capsys: pytest.CaptureFixture[str]) -> str:
    return " ".join(capsys.readouterr().out.split())


def record(stock: Path, article: str, *more: str) -> int:
    return main(["record", "--into", str(stock), "--as", article, *TRIAL, "--principles", "ultrasonic", *more])


def test_trials_are_recorded_where_the_service_reads_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stock = tmp_path / "own.toml"
    stock.write_text(STOCK)
    assert record(stock, "1", "--teach-ins", "5", "--explain") == 0
    assert "Chance by your trial (0 single sheets, 1,000 doubles, 0 misreads)" in " ".join(
        capsys.readouterr().out.split()
    )
    assert record(stock, "1", "--date", "2026-03-02", "--double-as-single", "1", "--explain") == 0
    assert "Chance by your trials (0 single sheets, 2,000 doubles, 1 misread)" in " ".join(
        capsys.readouterr().out.split()
    )
    assert record(stock, "2") in (0, 3)
    text = stock.read_text()
    assert text.startswith(STOCK.partition("\n\n")[0])
    assert "# the heavy one\n[[sheet]]" in text
    read = stocks_of({"own": stock}, load_library())["own"].sheets
    assert [one.date for one in read["1"].trials] == [date.today().isoformat(), "2026-03-02"]
    assert [(one.teach_ins, one.doubles, one.double_as_single) for one in read["1"].trials] == [
        (5, 1000, 0),
        (1, 1000, 1),
    ]
    assert read["2"].surface.gloss is False
    assert len(read["2"].trials) == 1


@pytest.mark.parametrize(
    ("text", "article", "options", "says"),
    [
        (STOCK, "3", [], "has no article 3"),
        (STOCK, "1", ["--gap-mm", "400"], "--gap-mm: ultrasonic-300k is not made for a gap of 400 mm"),
        (STOCK, "1", ["--band", "53", "8"], "--band: The lower threshold"),
        (STOCK, "1", ["--double-as-single", "1001"], "--double-as-single: 1001 of 1000"),
        (STOCK.replace("[sheet.surface]", "trials = []\n[sheet.surface]"), "2", [], "a trial cannot be added"),
        ('sheet = [{article = "1", material = "pet", thickness_um = 100}]', "1", [], "a trial cannot be added"),
    ],
)
def test_what_cannot_be_recorded_leaves_the_stock_as_it_was(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, article: str, options: list[str], says: str
) -> None:
    stock = tmp_path / "own.toml"
    stock.write_text(text)
    assert record(stock, article, *options) == 2
    assert says in capsys.readouterr().err
    assert stock.read_text() == text
