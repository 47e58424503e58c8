"""What the command takes from its settings file and the environment, and the forms that it answers in."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import responses
from sheetmargin import Answer
from sheetmargin.cli import main
from sheetmargin.cli.names import named_input, option_table
from support.whole import whole

URL = "http://service.example"
RECOMMENDATIONS = f"{URL}/v1/recommendations"
SAMPLE = (Path(__file__).parent / "data" / "answer.json").read_text(encoding="utf-8")
PAPER = ["--material", "copy-paper", "--grammage-gsm", "80"]
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Path]:
    """Writes the settings file where XDG has it."""
    monkeypatch.delenv("SHEETMARGIN_SETTINGS", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

    def write(text: str) -> Path:
        file = tmp_path / "sheetmargin" / "settings.toml"
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, encoding="utf-8")
        return file

    return write


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def run_command(*arguments: str) -> tuple[int, str, str]:
        try:
            code = main(arguments)
        except SystemExit as exit_:
            code = int(str(exit_.code))
        out, err = capsys.readouterr()
        return code, out, err

    return run_command


def sent(service: responses.RequestsMock) -> Any:
    return json.loads(service.calls[-1].request.body or "")


def test_the_file_gives_what_no_option_says(service: responses.RequestsMock, run: Run, settings: Any) -> None:
    settings(f'url = "{URL}"\nlanguage = "de"\ncatalogue = "shop"\n[targets]\ndouble_as_single = 500\n')
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    run("recommend", *PAPER)
    assert service.calls[0].request.headers["Accept-Language"] == "de"
    assert sent(service)["catalogue"] == "shop"
    assert sent(service)["targets"] == {"double_as_single": 500}
    run("recommend", *PAPER, "--language", "en", "--catalogue", "other", "--target-double-as-single", "50")
    assert service.calls[1].request.headers["Accept-Language"] == "en"
    assert sent(service)["catalogue"] == "other"
    assert sent(service)["targets"] == {"double_as_single": 50}


def test_the_environment_goes_before_the_file(
    service: responses.RequestsMock, run: Run, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings('url = "http://elsewhere.example"\n')
    monkeypatch.setenv("SHEETMARGIN_URL", URL)
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    assert run("recommend", *PAPER)[0] == 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('langauge = "de"', "there is no setting 'langauge'. Did you mean language?"),
        ("url = 3", "'url' must be a text"),
        ('format = "xml"', "'format' must be table, json, csv, md"),
        ("timeout = -1", "'timeout' must be a number above 0"),
        ("[targets]\ndouble = 1", "there is no setting 'targets.double'"),
        ('[targets]\ndouble_as_single = "few"', "'targets.double_as_single' must be a number above 0"),
        ("targets = 3", "'targets"),
        ("url = ", "is not TOML"),
    ],
)
def test_a_wrong_setting_is_named_with_its_file(run: Run, settings: Any, text: str, says: str) -> None:
    file = settings(text)
    code, out, err = run("recommend", *PAPER)
    assert (code, out) == (2, "")
    assert str(file) in err
    assert says in err
    assert len(err.splitlines()) == 1


def test_a_file_that_is_named_has_to_be_there(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHEETMARGIN_SETTINGS", "/nowhere/settings.toml")
    code, _, err = run("recommend", *PAPER)
    assert code == 2
    assert "/nowhere/settings.toml cannot be read" in err


def test_every_form_has_every_sheet(service: responses.RequestsMock, run: Run) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    _, text, _ = run("recommend", "--url", URL, *PAPER, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [row["sheet"] for row in rows] == ["cover", "a rather long label of a sheet", "tissue"]
    assert (rows[0]["gap_mm"], rows[0]["single_from"], rows[0]["unit"]) == ("45", "25", "dB")
    assert rows[2]["verdict"] == "unsuitable"
    _, text, _ = run("recommend", "--url", URL, *PAPER, "--format", "md")
    lines = text.splitlines()
    assert len(lines) == 2 + len(rows)
    assert all(line.count("|") == lines[0].count("|") for line in lines)
    _, text, _ = run("recommend", "--url", URL, *PAPER, "--quiet")
    assert text == "not suitable; ultrasonic-180k-high-output; 45 mm; 25 to 60 dB\n"


def test_json_does_not_depend_on_what_is_shown(service: responses.RequestsMock, run: Run) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    for more in ([], ["--explain"], ["--show", "why,trial"], ["--quiet"]):
        assert run("recommend", "--url", URL, *PAPER, "--json", *more)[1] == f"{SAMPLE}\n"


def test_sections_take_the_place_of_the_short_answer(service: responses.RequestsMock, run: Run) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    _, text, _ = run("recommend", "--url", URL, *PAPER, "--show", "trial,why")
    assert text.index("Why this set-up") < text.index("\nTrial\n")
    assert "Ruled out" not in text
    whole_text = run("recommend", "--url", URL, *PAPER, "--explain")[1]
    assert "Ruled out" in whole_text
    assert whole_text == run("recommend", "--url", URL, *PAPER, "--show", "all")[1]


def test_the_language_of_faults_is_that_of_the_reader(run: Run) -> None:
    assert (
        "Die Option --gramage-gsm gibt es nicht. Ist --grammage-gsm gemeint?"
        in run("recommend", "--gramage-gsm", "80", "--language", "de")[2]
    )
    assert "eine Zahl angeben" in run("recommend", "--language=de", "--grammage-gsm", "8g")[2]


def test_a_terminal_that_has_no_utf_8_is_written_in_ascii(
    service: responses.RequestsMock, monkeypatch: pytest.MonkeyPatch
) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    raw = io.BytesIO()
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(raw, encoding="ascii"))
    main(["recommend", "--url", URL, *PAPER])
    text = raw.getvalue().decode("ascii")
    assert "copy paper, 80 g/m2" in text
    assert "20 deg" in text


def test_every_place_of_a_job_has_its_option() -> None:
    table = option_table()
    assert table["/sheets/0/grammage_gsm"] == table["/sheet/grammage_gsm"] == "--grammage-gsm"
    assert table["/targets/double_as_single"] == "--target-double-as-single"
    assert named_input("/classes/1") == "--classes"
    assert named_input("/sheets/0/layers") == "sheets.layers"


def test_a_shell_completes_commands_and_options(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("shtab")
    code, out, _ = run("completion", "bash")
    assert code == 0
    assert "--grammage-gsm" in out
    assert "diagnose" in out
    monkeypatch.setitem(__import__("sys").modules, "shtab", None)
    code, _, err = run("completion", "bash")
    assert code == 4
    assert "sheetmargin[completion]" in err


def test_the_version_is_told(run: Run) -> None:
    code, out, _ = run("--version")
    assert code == 0
    assert out.startswith("sheetmargin ")


def test_a_set_up_sheet_is_written_beside_the_answer(service: responses.RequestsMock, run: Run, tmp_path: Path) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    service.post(f"{URL}/v1/setup-sheets", body="<html>", content_type="text/html")
    file = tmp_path / "sheet.html"
    run("recommend", "--url", URL, *PAPER, "--setup-sheet", str(file))
    assert file.read_text(encoding="utf-8") == "<html>"
    code, _, err = run("recommend", "--url", URL, *PAPER, "--setup-sheet", str(tmp_path / "sheet.docx"))
    assert code == 2
    assert ".pdf or .html" in err


def test_a_set_up_sheet_is_written_by_itself(service: responses.RequestsMock, run: Run, tmp_path: Path) -> None:
    service.post(f"{URL}/v1/setup-sheets.pdf", body=b"%PDF", content_type="application/pdf")
    file, job = tmp_path / "sheet.pdf", tmp_path / "job.json"
    job.write_text('{"sheets": [{"material": "copy-paper", "grammage_gsm": 80}], "limit": 2}', encoding="utf-8")
    wishes = ["--rank", "2", "--setup", "3", "--paper", "letter"]
    assert run("setup-sheet", str(file), "--url", URL, "--job", str(job), *wishes) == (0, "", "")
    assert file.read_bytes() == b"%PDF"
    asked = json.loads(service.calls[0].request.body)  # type: ignore[attr-defined]
    wanted = {"rank": 2, "setup": 2, "paper": "letter"}
    assert asked == json.loads(job.read_text(encoding="utf-8")) | wanted
    code, _, err = run("setup-sheet", str(file), "--url", URL)
    assert code == 2
    assert "--material" in err or "job" in err


def test_a_name_is_a_catalogue_and_a_file_is_one_here(service: responses.RequestsMock, run: Run) -> None:
    service.get(f"{URL}/v1/detector-classes", json={"catalogue": "shop", "version": "1", "classes": []})
    run("classes", "--url", URL, "--catalogue", "shop")
    assert service.calls[0].request.params == {"catalogue": "shop"}  # type: ignore[attr-defined]
    code, _, err = run("recommend", "--url", URL, *PAPER, "--catalogue", "own.toml")
    assert code == 2
    assert "own.toml" in err


def test_an_answer_of_a_line_is_of_the_first_choice(service: responses.RequestsMock, run: Run) -> None:
    service.post(RECOMMENDATIONS, json=whole(Answer, {"verdict": "unsuitable", "language": "de"}))
    assert run("recommend", "--url", URL, *PAPER, "--quiet")[1] == "nicht geeignet\n"
