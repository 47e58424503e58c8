"""`sheetmargin predict`, `fit` and `diagnose` against a mock of the service; tables of readings and their faults."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import responses
import xlsxwriter
from sheetmargin import Diagnosis, Fit, InvalidJob, Prediction
from sheetmargin.cli import main
from sheetmargin.contract.measure import BenchReading
from sheetmargin.readings_file import NUMBERS, TEXTS, read_readings
from support.whole import whole

URL = "http://service.example"
PAPER = ["--material", "copy-paper", "--grammage-gsm", "80"]
PLACE = ["--detector-class", "ultrasonic-400k", "--gap-mm", "26"]
TABLE = """state,attenuation_db,detector_class,gap_mm,tilt_deg
single,45.1,ultrasonic-400k,26,0

double,66.2,ultrasonic-400k,26,0
"""

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command against the mock: exit code, stdout, stderr."""

    def run_command(command: str, *arguments: str) -> tuple[int, str, str]:
        try:
            code = main([command, "--url", URL, *arguments])
        except SystemExit as exit_:
            code = int(str(exit_.code))
        out, err = capsys.readouterr()
        return code, out, err

    return run_command


@pytest.fixture
def table(tmp_path: Path) -> Path:
    file = tmp_path / "readings.csv"
    file.write_text(TABLE, encoding="utf-8")
    return file


def sent(service: responses.RequestsMock) -> Any:
    return json.loads(service.calls[0].request.body or "")


def test_predict_asks_for_the_set_up(service: responses.RequestsMock, run: Run) -> None:
    service.post(f"{URL}/v1/predictions", json=whole(Prediction, {"predicted": {"verdict": "suitable"}}))
    code, out, _ = run("predict", *PAPER, *PLACE, "--band", "25", "60", "--hold-ms", "20", "--speed-m-per-min", "90")
    assert code == 0
    assert "SUITABLE" in out
    assert sent(service) == {
        "sheet": {"material": "copy-paper", "grammage_gsm": 80},
        "setup": {
            "detector_class": "ultrasonic-400k",
            "gap_mm": 26,
            "profile": {"band": {"low": 25, "high": 60}, "hold_ms": 20},
        },
        "line": {"speed_m_per_min": 90},
    }


@pytest.mark.parametrize(
    ("arguments", "grid"),
    [
        (["--map"], {"gap_mm": [26], "tilt_deg": [0, 10, 20, 30, 40]}),
        (["--gaps", "20", "30", "--tilts", "0", "15"], {"gap_mm": [20, 30], "tilt_deg": [0, 15]}),
        (["--positions", "-0.4", "0", "0.4"], {"position_mm": [-0.4, 0, 0.4]}),
        (["--grammages", "70", "90"], {"grammage_gsm": [70, 90]}),
    ],
)
def test_grids(service: responses.RequestsMock, run: Run, arguments: list[str], grid: Any) -> None:
    service.post(f"{URL}/v1/predictions", json=whole(Prediction, {}))
    run("predict", *PAPER, *PLACE, *arguments)
    assert sent(service)["grid"] == grid


def test_an_unsuitable_set_up_has_its_exit_code(service: responses.RequestsMock, run: Run) -> None:
    service.post(f"{URL}/v1/predictions", json=whole(Prediction, {"predicted": {"verdict": "unsuitable"}}))
    assert run("predict", *PAPER, *PLACE)[0] == 3


def test_fit_sends_the_table(service: responses.RequestsMock, run: Run, table: Path) -> None:
    service.post(f"{URL}/v1/fits", json=whole(Fit, {"fitted": {"verdict": "trial-needed"}}))
    code, out, err = run("fit", str(table), *PAPER, "--classes", "ultrasonic-400k", "--limit", "2")
    assert (code, err) == (0, "")
    assert "TRIAL NEEDED" in out
    body = sent(service)
    assert body["readings"] == [
        {"state": "single", "attenuation_db": 45.1, "detector_class": "ultrasonic-400k", "gap_mm": 26},
        {"state": "double", "attenuation_db": 66.2, "detector_class": "ultrasonic-400k", "gap_mm": 26},
    ]
    assert (body["classes"], body["limit"]) == (["ultrasonic-400k"], 2)


def test_a_place_for_all_readings(service: responses.RequestsMock, run: Run, tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text("state;level_pct\nsingle;0,55\ndouble;0,02\n", encoding="utf-8")
    service.post(f"{URL}/v1/fits", json=whole(Fit, {}))
    assert run("fit", str(file), *PAPER, *PLACE)[0] == 0
    first = sent(service)["readings"][0]
    assert first == {"state": "single", "level_pct": 0.55, "detector_class": "ultrasonic-400k", "gap_mm": 26}
    code, _, err = run("fit", str(file), *PAPER)
    assert code == 2
    assert "Line 2" in err
    assert "--gap-mm" in err


def test_a_fault_of_the_service_is_told_by_the_line_of_the_table(
    service: responses.RequestsMock, run: Run, table: Path
) -> None:
    problem = {
        "title": "No",
        "detail": "1 thing",
        "errors": [{"code": "x", "pointer": "/readings/1/gap_mm", "detail": "Bad."}],
    }
    service.post(f"{URL}/v1/fits", json=problem, status=422, content_type="application/problem+json")
    code, _, err = run("fit", str(table), *PAPER)
    assert code == 2
    assert "line 4, gap_mm: Bad." in err


def test_diagnose_sends_symptoms_and_readings(service: responses.RequestsMock, run: Run, table: Path) -> None:
    service.post(
        f"{URL}/v1/diagnoses",
        json=whole(Diagnosis, {"causes": [{"rank": 1, "probability": 0.5, "cause": {"text": "Dust."}}]}),
    )
    symptoms = ["--symptom", "false-stops", "--symptom", "flicker"]
    code, out, _ = run("diagnose", *PAPER, *PLACE, *symptoms, "--readings", str(table))
    assert code == 0
    assert "50 %  Dust." in out
    body = sent(service)
    assert body["symptoms"] == ["false-stops", "flicker"]
    assert body["readings"][0] == {"state": "single", "attenuation_db": 45.1}
    assert run("diagnose", *PAPER, *PLACE, "--symptom", "noise")[0] == 2


def test_json_is_printed_as_it_came(service: responses.RequestsMock, run: Run, table: Path) -> None:
    told = json.dumps(whole(Fit, {"later": 1}), separators=(" , ", " : "))
    service.post(f"{URL}/v1/fits", body=told, content_type="application/json")
    assert run("fit", str(table), *PAPER, "--json")[1] == f"{told}\n"


def test_a_picture_is_written(service: responses.RequestsMock, run: Run, table: Path, tmp_path: Path) -> None:
    residual = {"index": 0, "state": "single", "residual_db": 0.5, "sigma_db": 1.0}
    service.post(f"{URL}/v1/fits", json=whole(Fit, {"fit": {"residuals": [residual]}}))
    picture = tmp_path / "fit.svg"
    assert run("fit", str(table), *PAPER, "--plot", str(picture))[0] == 0
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    code, _, err = run("fit", str(table), *PAPER, "--plot", str(tmp_path / "fit.nothing"))
    assert code == 2
    assert "fit.nothing" in err


def test_the_picture_is_of_what_was_stepped_through(service: responses.RequestsMock, run: Run, tmp_path: Path) -> None:
    levels = {"p1": 40.0, "p50": 45.0, "p99": 50.0}
    at = [{"grammage_gsm": gsm, "no_sheet": levels, "single": levels, "double": levels} for gsm in (70.0, 80.0)]
    service.post(
        f"{URL}/v1/predictions", json=whole(Prediction, {"predicted": {"verdict": "suitable"}, "grammages": at})
    )
    picture = tmp_path / "sweep.svg"
    assert run("predict", *PAPER, *PLACE, "--grammages", "70", "80", "--plot", str(picture))[0] == 0
    assert "<!-- grammage in g/m² -->" in picture.read_text(encoding="utf-8")


def test_no_sheet_is_said_before_anything_is_asked(run: Run, table: Path) -> None:
    code, _, err = run("fit", str(table))
    assert code == 2
    assert "--material" in err


def test_columns_are_the_fields_of_a_reading() -> None:
    assert {*TEXTS, *NUMBERS} == set(BenchReading.__dataclass_fields__)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "line 1"),
        ("state,colour\nsingle,red\n", "line 1"),
        ("attenuation_db\n45\n", "line 1"),
        ("state,state\nsingle,single\n", "line 1"),
        ("state,attenuation_db\nsingle,45\nsingle,much\n", "line 3"),
        ("state,attenuation_db\nsingle,nan\n", "line 2"),
        ("state,attenuation_db\nsingle,45,7\n", "line 2"),
        ("state,attenuation_db\n\n", "line 2"),
    ],
)
def test_tables_that_cannot_be_read(tmp_path: Path, text: str, place: str) -> None:
    (tmp_path / "readings.csv").write_text(text)
    with pytest.raises(InvalidJob) as caught:
        read_readings(tmp_path / "readings.csv")
    assert caught.value.errors[0].pointer == place
    assert caught.value.errors[0].expected


@pytest.mark.parametrize(
    "text",
    [
        "state,attenuation_db\nsingle,45.5\n",
        "\ufeffstate,attenuation_db\r\nsingle,45.5\r\n",
        "state;attenuation_db\nsingle;45,5\n",
        "state\tattenuation_db\nsingle\t45.5\n",
        ' state , attenuation_db \n"single"," 45.5 "\n',
    ],
)
def test_tables_as_programs_write_them(tmp_path: Path, text: str) -> None:
    for content in (text.encode(), text.lstrip("\ufeff").encode("utf-16")):
        (tmp_path / "readings.csv").write_bytes(content)
        (reading,) = read_readings(tmp_path / "readings.csv").readings
        assert reading == {"state": "single", "attenuation_db": 45.5}


def test_a_spreadsheet_with_a_title_above(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "bench.xlsx") as book:
        sheet = book.add_worksheet()
        for at, row in enumerate(
            [["Prüfstand 3"], [], ["state", "attenuation_db"], ["single", 45.5], [], ["double", 70]]
        ):
            sheet.write_row(at, 0, row)
    found = read_readings(tmp_path / "bench.xlsx")
    assert [reading["attenuation_db"] for reading in found.readings] == [45.5, 70.0]
    assert found.lines == (4, 6)


def test_files_that_are_not_there(run: Run, tmp_path: Path) -> None:
    (tmp_path / "picture.csv").write_bytes(b"\xff\xd8\xff")
    for name in ("none.csv", "picture.csv"):
        code, _, err = run("fit", str(tmp_path / name), *PAPER)
        assert code == 2
        assert name in err
