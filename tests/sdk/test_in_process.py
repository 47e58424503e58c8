"""The real service, in this process and behind gunicorn: the same answers, byte for byte."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import sysconfig
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from gunicorn.workers.gthread import ThreadWorker
from sheetmargin import Client, InvalidJob, Job, Line, NotAuthorised, Sheet, Targets
from sheetmargin.cli import main
from sheetmargin_service.serving.worker import PatientWorker

ROOT = Path(__file__).parents[2]
PAPER = Sheet(material="copy-paper", grammage_gsm=80)


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    with Client.in_process() as made:
        yield made


def test_a_recommendation(client: Client) -> None:
    answer = client.recommend(Job(sheets=[PAPER], limit=2, reference="a quote", targets=Targets(double_as_single=10)))
    assert answer.reference == "a quote"
    assert answer.best is not None
    assert len(answer.recommendations) <= 2
    assert answer.best.rank == 1
    signal = answer.best.sheets[0].signal
    assert signal.single.p50 is not None
    assert signal.double.p50 is not None
    assert signal.single.p50 < signal.double.p50
    assert answer.sheets[0].material == "copy-paper"
    assert {note.code for note in answer.cautions} >= {"not-a-safety-device"}
    assert max(map(len, str(answer).splitlines())) <= 100


def test_lists(client: Client) -> None:
    assert len(client.materials()) >= 40
    assert client.materials("copy-paper")[0].id == "copy-paper"
    classes = client.detector_classes()
    assert len(classes) >= 6
    assert client.catalogues()[0].classes == len(classes)
    assert "ultrasonic" in client.version().principles


def test_every_material_listed_is_typed(client: Client) -> None:
    for material in client.materials():
        assert material.density_kg_m3.nominal
        assert material.elastic
        assert str(material.id) in repr(material)


def test_an_unknown_material_is_an_invalid_job_with_suggestions(client: Client) -> None:
    with pytest.raises(InvalidJob) as caught:
        client.recommend(Sheet(material="coppy-paper", grammage_gsm=80))
    (fault,) = caught.value.errors
    assert fault.pointer == "/sheets/0/material"
    assert "copy-paper" in fault.suggestions
    assert caught.value.status == 422
    assert caught.value.request_id


def test_language(client: Client) -> None:
    with Client.in_process(language="de") as german:
        question = Job(sheets=[PAPER], limit=1)
        answers = [[note.text for note in one.recommend(question).cautions] for one in (client, german)]
    assert answers[0] != answers[1]


def test_the_service_in_this_process_keeps_to_its_settings(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keys = tmp_path / "keys.toml"
    assert main(["keys", "add", str(keys), "shop", "recommend"]) == 0
    token = capsys.readouterr().err.strip()
    monkeypatch.setenv("SHEETMARGIN_ACCESS", "keys")
    monkeypatch.setenv("SHEETMARGIN_KEYS_FILE", str(keys))
    with Client.in_process() as stranger, pytest.raises(NotAuthorised):
        stranger.recommend(PAPER)
    with Client.in_process(token=token) as friend:
        assert friend.recommend(Job(sheets=[PAPER], limit=1)).best


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["recommend", "--material", "copy-paper", "--grammage-gsm", "80"], 0),
        (["recommend", "--material", "no-such-stuff", "--grammage-gsm", "80"], 2),
        (["recommend", "--material", "copy-paper"], 2),
        (["recommend", "--material", "copy-paper", "--grammage-gsm", "-80"], 2),
        # A pair made for heavy stock alone: light paper leaves it overloaded.
        (
            ["recommend", "--material", "tissue", "--grammage-gsm", "20", "--classes", "ultrasonic-75k-high-output"],
            3,
        ),
        (["materials"], 0),
        (["materials", "Karton", "--language", "de"], 0),
        (["materials", "qqqqqqqqqq"], 0),
        (["classes"], 0),
        (["classes", "--json"], 0),
    ],
)
def test_command_line(capsys: pytest.CaptureFixture[str], arguments: list[str], code: int) -> None:
    assert main(arguments) == code
    out, err = capsys.readouterr()
    assert bool(out) != bool(err)
    assert "Traceback" not in err
    assert max(map(len, out.splitlines()), default=0) <= 100 or "--json" in arguments


def test_a_job_on_standard_input_is_judged_with_line_and_column() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "sheetmargin", "recommend", "--job", "-"],
        input='{"sheets": [\n  {"material": "pet" "thickness_um": 12}\n]}',
        capture_output=True,
        text=True,
    )
    assert done.returncode == 2
    assert "Line 2, column" in done.stderr


def test_a_reader_that_has_seen_enough_leaves_no_traceback() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([sys.executable, "-m", "sheetmargin", "classes"], stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


def test_without_the_extra_the_client_works_and_says_how_to_get_the_service() -> None:
    """As after a base install: nothing of the extra can be imported."""
    code = """if True:
        import sys

        for absent in ("flask", "flask_smorest", "marshmallow", "gunicorn", "numpy", "scipy", "rapidfuzz"):
            sys.modules[absent] = None
        from sheetmargin import Client, Sheet
        from sheetmargin.cli import main
        repr(Client("http://127.0.0.1:9"))
        codes = [main(["recommend", "--material", "pet", "--thickness-um", "12"]), main(["serve"])]
        print(codes)
    """
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[4, 4]"
    assert done.stderr.count("pip install 'sheetmargin[service]'") == 2


class Server:
    """A server in a process of its own."""

    def __init__(self, command: list[str], port: int, home: Path) -> None:
        scripts = sysconfig.get_path("scripts")
        path = f"{scripts}{os.pathsep}{os.environ['PATH']}"
        # The image listens beyond its own machine, where who may ask must be said, under which name, through what.
        said = {"SHEETMARGIN_ACCESS": "open", "SHEETMARGIN_HOSTS": "sheets.example", "SHEETMARGIN_PROXIES": "1"}
        self.environment = os.environ | {"HOME": str(home), "PATH": path} | said
        self.environment.pop("XDG_RUNTIME_DIR", None)
        self.url = f"http://127.0.0.1:{port}"
        self.process = subprocess.Popen(
            command, env=self.environment, cwd="/", stderr=subprocess.PIPE, text=True, start_new_session=True
        )

    def wait(self) -> None:
        end = time.monotonic() + 60
        while True:
            try:
                urllib.request.urlopen(f"{self.url}/livez", timeout=5).close()
                return
            except OSError:
                assert self.process.poll() is None, self.process.communicate()[1]
                assert time.monotonic() < end
                time.sleep(0.1)

    def stop(self) -> str:
        """Stopped as an operator stops it; what it logged."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.communicate(timeout=40)[1]


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


def test_serve(client: Client, tmp_path: Path) -> None:
    port = free_port()
    command = [sys.executable, "-m", "sheetmargin", "serve", "--port", str(port), "--workers", "1", "--threads", "2"]
    server = Server(command, port, tmp_path)
    try:
        server.wait()
        with Client(server.url) as remote:
            body = b'{"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}'
            there, here = (one.request("POST", "/v1/recommendations", body=body) for one in (remote, client))
            assert there.content == here.content
            assert "ETag" not in there.headers
            assert "ETag" not in here.headers
            path = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
            there, here = (one.request("GET", path) for one in (remote, client))
            assert there.content == here.content
            assert there.headers["ETag"] == here.headers["ETag"]
            assert remote.recommend(PAPER) == client.recommend(PAPER)
    finally:
        log = server.stop()
    assert server.process.returncode == 0, log
    assert "sheetmargin_service.serving.worker.PatientWorker" in log
    assert issubclass(PatientWorker, ThreadWorker)
    assert list(tmp_path.iterdir()) == []


def test_what_the_image_runs(tmp_path: Path) -> None:
    """The image's command and health check, with a home that does not exist."""
    dockerfile = (ROOT / "docker" / "Dockerfile").read_text(encoding="utf-8").replace("\\\n", " ")
    port = free_port()
    (command,), (check,) = (
        [json.loads(found.replace("8080", str(port))) for found in re.findall(rf"^{start}(\[.*\])$", dockerfile, re.M)]
        for start in ("CMD ", "HEALTHCHECK .*CMD ")
    )
    server = Server(command, port, tmp_path / "nowhere")
    try:
        server.wait()
        healthy = subprocess.run([sys.executable, *check[1:]], capture_output=True, text=True)
    finally:
        log = server.stop()
    assert (healthy.returncode, healthy.stderr) == (0, ""), log
    assert check[0] == "python"
    assert subprocess.run([sys.executable, *check[1:]], capture_output=True).returncode != 0


def test_a_question_over_a_grid_of_values(client: Client) -> None:
    job = Job(sheets=[Sheet(material="pet")], classes=["ultrasonic-400k"], limit=1)
    grid = {"thickness_um": [12, 50], "line.flutter_mm": [0, 3]}
    found = list(client.sweep(job, grid))
    assert [(point["thickness_um"], point["line.flutter_mm"]) for point, _ in found] == [
        (12, 0),
        (12, 3),
        (50, 0),
        (50, 3),
    ]
    for point, outcome in found:
        alone = replace(job.sheets[0], thickness_um=point["thickness_um"])
        asked = replace(job, sheets=[alone], line=Line(flutter_mm=point["line.flutter_mm"]))
        assert outcome.answer == client.recommend(asked)
    with pytest.raises(InvalidJob, match="thicknes_um is no field of a job"):
        client.sweep(job, {"thicknes_um": [1]})


def test_a_set_up_sheet_in_a_file(client: Client) -> None:
    job = Job(sheets=[Sheet(material="copy-paper", grammage_gsm=80)], limit=1)
    assert client.setup_sheet(job, format="html").startswith(b"<!doctype html>")
    with pytest.raises(InvalidJob, match="/rank") as caught:
        client.setup_sheet(job, format="html", rank=9)
    assert [fault.pointer for fault in caught.value.errors] == ["/rank"]


def test_a_recommendation_loads_no_more_of_scipy_than_it_needs() -> None:
    """Statistics and optimisation would take half a second of every command, and 45 MB."""
    program = (
        "import sys; from sheetmargin import Client, Sheet\n"
        "with Client.in_process() as client: client.recommend(Sheet(material='copy-paper', grammage_gsm=80))\n"
        "print(*(f'scipy.{name}' in sys.modules for name in ('special', 'stats', 'optimize', 'interpolate')))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "False", "False", "False"]
