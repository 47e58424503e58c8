"""Every kind of sheet that a job may name, through the HTTP API, the client and the command line.

A sheet gets a computed recommendation or a reasoned rejection from every class that was asked, alike by each way.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin import Client, Corrugated, Custom, Double, Gauge, Job, Layer, Sheet, TrappedAir, Wall
from sheetmargin.cli import main
from sheetmargin_service.selection.class_filter import FILTERED

CLASSES = ["ultrasonic-180k", "ultrasonic-180k-high-output", "ultrasonic-400k"]
ROWS = json.loads((Path(__file__).parent / "sheets.json").read_text())


PARTS: dict[str, Any] = {
    "layers": Layer,
    "corrugated": Corrugated,
    "walls": Wall,
    "custom": Custom,
    "trapped_air_um": TrappedAir,
    "double": Double,
    "sheet_gauge": Gauge,
}


def _typed(kind: Any, fields: dict[str, Any]) -> Any:
    """JSON as the client's own dataclasses."""

    def part(name: str, value: Any) -> Any:
        if isinstance(value, dict):
            return _typed(PARTS[name], value)
        if isinstance(value, list):
            return [part(name, item) for item in value]
        return value

    return kind(**{name: part(name, value) for name, value in fields.items()})


def _job(sheet: dict[str, Any]) -> dict[str, Any]:
    return {"sheets": [sheet], "classes": CLASSES, "limit": 2}


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with Client.in_process() as made:
        yield made


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['part']}-{next(iter(row['sheet'].values()))}"[:60])
def test_every_way_answers_alike(
    row: dict[str, Any],
    real_api: FlaskClient,
    client: Client,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    response = real_api.post("/v1/recommendations", json=_job(row["sheet"]))
    answer = response.get_json()
    assert response.status_code == 200, answer
    recommended = {s["detector_class"]["id"] for r in answer["recommendations"] for s in r["setups"]}
    rejected = {r["detector_class"]: r["text"] for r in [*answer["ruled_out"], *answer["alternatives"]]}
    considered = {r["detector_class"] for r in [*answer["ruled_out"], *answer["alternatives"]] if r["code"] != FILTERED}
    assert recommended | considered == set(CLASSES)
    assert all(text and text != code for code, text in rejected.items())
    for result in (s for r in answer["recommendations"] for s in r["sheets"]):
        for state in ("no_sheet", "single", "double"):
            signal = result["signal"][state]
            assert signal["p1"] <= signal["p50"] <= signal["p99"]
    assert (answer["verdict"] == "unsuitable") == (not answer["recommendations"])

    by_client = client.recommend(Job(sheets=[_typed(Sheet, row["sheet"])], classes=CLASSES, limit=2))
    assert by_client.verdict == answer["verdict"]

    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(json.dumps(_job(row["sheet"])).encode())))
    code = main(["recommend", "--job", "-", "--json"])
    assert json.loads(capsys.readouterr().out) == answer
    assert (code == 0) == (answer["verdict"] != "unsuitable")


def test_each_part_has_two_sheets_or_more() -> None:
    parts = [row["part"] for row in ROWS]
    assert all(parts.count(part) >= 2 for part in set(parts))
