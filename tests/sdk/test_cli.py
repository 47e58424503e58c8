"""The command line against a mock of the service: what is asked, what is printed, and the exit codes."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import requests
import responses
from sheetmargin import Answer
from sheetmargin.cli import main
from sheetmargin.cli.fields import plain_fields
from sheetmargin.contract.job import Environment, Line, Sheet, Surface
from support.whole import whole

URL = "http://service.example"
RECOMMENDATIONS = f"{URL}/v1/recommendations"
SAMPLE = (Path(__file__).parent / "data" / "answer.json").read_text(encoding="utf-8")
PAPER = ["--material", "copy-paper", "--grammage-gsm", "80"]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Runs `sheetmargin recommend --url ... ARGUMENTS`: exit code, stdout, stderr."""

    def run_recommend(*arguments: str) -> tuple[int, str, str]:
        try:
            code = main(["recommend", "--url", URL, *arguments])
        except SystemExit as exit_:
            code = int(str(exit_.code))
        out, err = capsys.readouterr()
        return code, out, err

    return run_recommend


def test_options_become_the_job(service: responses.RequestsMock, run: Any) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    run(
        *PAPER,
        *["--plies", "2", "--speed-m-per-min", "120", "--feeding", "shingled", "--temperature-max-c", "40"],
        *["--shingle-pitch-mm", "200", "--sheet-length-mm", "700"],
        *["--classes", "ultrasonic-180k", "ultrasonic-300k", "--limit", "3", "--language", "de", "--token", "secret"],
    )
    request = service.calls[0].request
    assert json.loads(request.body or "") == {
        "sheets": [{"material": "copy-paper", "grammage_gsm": 80, "plies": 2}],
        "line": {"speed_m_per_min": 120, "sheet_length_mm": 700, "shingle_pitch_mm": 200, "feeding": "shingled"},
        "environment": {"temperature_max_c": 40},
        "classes": ["ultrasonic-180k", "ultrasonic-300k"],
        "limit": 3,
    }
    assert request.headers["Accept-Language"] == "de"
    assert request.headers["Authorization"] == "Bearer secret"


def test_every_plain_field_has_an_option_of_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    plain = ("str", "float", "int", "bool", "LabelState", "FluteDirection", "Feeding", "Access")
    with pytest.raises(SystemExit):
        main(["recommend", "--help"])
    told = " ".join(capsys.readouterr().out.split())
    for kind in (Sheet, Surface, Line, Environment):
        names = [name for name, hint in kind.__annotations__.items() if hint.removesuffix(" | None") in plain]
        assert list(plain_fields(kind)) == names
        assert all(f"--{name.replace('_', '-')}" in told for name in names)
    assert "Grammage of one ply in g/m² (ISO 536)" in told


@pytest.mark.parametrize(("given", "sent"), [("--bed", True), ("--no-bed", False)])
def test_yes_and_no_are_options_of_every_command(
    service: responses.RequestsMock, capsys: pytest.CaptureFixture[str], given: str, sent: bool
) -> None:
    service.post(f"{URL}/v1/predictions", status=422, json={}, content_type="application/problem+json")
    main(["predict", "--url", URL, "--detector-class", "thickness-roller", "--gap-mm", "0", *PAPER, given])
    assert json.loads(service.calls[0].request.body or "")["line"]["bed"] is sent


def test_token_from_the_environment(service: responses.RequestsMock, run: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHEETMARGIN_TOKEN", "from-the-environment")
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    run(*PAPER)
    assert service.calls[0].request.headers["Authorization"] == "Bearer from-the-environment"


def test_the_report_is_printed(service: responses.RequestsMock, run: Any) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    code, out, err = run(*PAPER)
    assert (code, err) == (3, "")  # one of its sheets is not served
    for part in (
        "quote 4711-2",
        "NOT SUITABLE   2 of 3 sheets",
        "45 mm",
        "40 to 50 mm",
        "25 to 60 dB",
        "109 dB",
        "4.7 dB",
    ):
        assert part in out


def test_json_is_printed_as_it_came(service: responses.RequestsMock, run: Any) -> None:
    service.post(RECOMMENDATIONS, body=SAMPLE, content_type="application/json")
    code, out, _ = run(*PAPER, "--json")
    assert (code, out) == (3, SAMPLE + "\n")


@pytest.mark.parametrize("written", ['{"sheets": [', '{"a": 1, "a": 2}', SAMPLE])
def test_a_job_file_is_sent_as_it_is(
    service: responses.RequestsMock, run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str
) -> None:
    """The service's own reader judges it, with line and column."""
    file = tmp_path / "job.json"
    file.write_text(written)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(written.encode())))
    for source in (str(file), "-"):
        service.post(RECOMMENDATIONS, json=whole(Answer, {"verdict": "trial-needed"}))
        assert run("--job", source)[0] == 0
    assert [call.request.body for call in service.calls] == [written.encode()] * 2


@pytest.mark.parametrize(
    ("verdict", "code"), [("suitable", 0), ("trial-needed", 0), ("unsuitable", 3), ("a later verdict", 0)]
)
def test_exit_code_of_a_verdict(service: responses.RequestsMock, run: Any, verdict: str | None, code: int) -> None:
    service.post(RECOMMENDATIONS, json=whole(Answer, {"verdict": verdict}))
    assert run(*PAPER)[0] == code


@pytest.mark.parametrize(
    ("answer", "code"),
    [
        ({"status": 400}, 2),
        ({"status": 422}, 2),
        ({"status": 401}, 4),
        ({"status": 403}, 4),
        ({"status": 404}, 4),
        ({"status": 500}, 4),
        ({"body": "<html>", "content_type": "text/html"}, 4),
        ({"body": requests.ReadTimeout("slow")}, 4),
    ],
)
def test_exit_code_of_a_failure(service: responses.RequestsMock, run: Any, answer: Any, code: int) -> None:
    service.post(RECOMMENDATIONS, **answer)
    status, out, err = run(*PAPER)
    assert (status, out) == (code, "")
    assert err.startswith("sheetmargin: ")


def test_a_fault_is_told_by_its_option(service: responses.RequestsMock, run: Any, tmp_path: Path) -> None:
    faults = [
        {"code": "x", "pointer": "/sheets/0/grammage_gsm", "detail": "9e9 is too much", "expected": "0.5 to 100000"},
        {"code": "x", "pointer": "/line/lanes", "detail": "0 is too few"},
        {"code": "x", "pointer": "/sheets/0", "detail": "no size is given"},
    ]
    service.post(RECOMMENDATIONS, status=422, json={"title": "Not so", "errors": faults})
    _, _, err = run(*PAPER)
    assert "--grammage-gsm: 9e9 is too much Expected: 0.5 to 100000." in err
    assert "--lanes: 0 is too few" in err
    assert "sheetmargin: no size is given\n" in err

    service.post(RECOMMENDATIONS, status=422, json={"title": "Not so", "errors": faults})
    (tmp_path / "job.json").write_text("{}")
    _, _, err = run("--job", str(tmp_path / "job.json"))
    assert "/sheets/0/grammage_gsm: 9e9 is too much" in err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "Describe a sheet, for example --material"),
        (["--job", "missing.json"], "missing.json cannot be read"),
        (["--job", "-", "--plies", "2", "--limit", "1"], "by --job and by --plies, --limit"),
        (["--grammage-gsm", "80g"], "--grammage-gsm: expected a number, for example 80; got '80g'"),
        (["--grammage-gsm", "nan"], "expected a number"),
        (["--plies", "1.5"], "--plies: expected a whole number, for example 2; got '1.5'"),
        (["--timeout", "0"], "--timeout: expected a number above 0; got '0'"),
        (["--gramage-gsm", "80"], "There is no option --gramage-gsm. Did you mean --grammage-gsm?"),
        (["--gram", "80"], "There is no option --gram."),
        (["--format", "tabel"], "Did you mean table?"),
        ([*PAPER, "--show", "whi"], "Did you mean why?"),
    ],
)
def test_a_wrong_command_line_is_exit_code_2(run: Any, arguments: list[str], says: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert says in err


def test_an_address_that_is_none_is_exit_code_4(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["recommend", "--url", "localhost:8080", *PAPER]) == 4
    assert "expected one like http://127.0.0.1:8080" in capsys.readouterr().err


def test_help_documents_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (["--help"], ["recommend", "--help"], ["serve", "--help"]):
        with pytest.raises(SystemExit):
            main(arguments)
        out = capsys.readouterr().out
        assert all(f"\n  {code} " in out for code in (0, 2, 3, 4, 130))


def test_interrupted(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("requests.Session.request", interrupted)
    assert main(["recommend", "--url", URL, *PAPER]) == 130
