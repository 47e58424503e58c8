"""`sheetmargin fit --into`: the fitted sheet in a stock that the service reads."""

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
