"""Catalogue files taken up anew while requests are answered."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings, settings_from
from sheetmargin_service.errors import FieldError
from sheetmargin_service.serving import catalogue_reload as swap
from sheetmargin_service.serving.catalogue_reload import in_child, sound, take_up
from support.catalogues import OWN
from support.servers import gunicorn

OTHER = OWN.replace("T-100-E", "T-111-E")
QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=120&classes=own-180&limit=1"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "own.toml").write_text(OWN)
    return tmp_path / "own.toml"


def settings(file: Path, **more: Any) -> Settings:
    return settings_from({"SHEETMARGIN_CATALOGUE": str(file), **more})


def emitter(answer: Any) -> str:
    (recommendation,) = answer["recommendations"]
    number: str = recommendation["setups"][0]["order_items"][0]["part_number"]
    return number


def test_an_owners_catalogue_is_the_default(file: Path) -> None:
    client = create_app(settings(file)).test_client()
    names = {c["name"]: c["default"] for c in client.get("/v1/catalogues").get_json()["catalogues"]}
    assert names == {"own": True, "reference": False}
    answer = client.get(QUERY).get_json()
    assert emitter(answer) == "T-100-E"
    reference = client.get("/v1/recommendations?material=copy-paper&grammage_gsm=80&catalogue=reference&limit=1")
    assert reference.get_json()["catalogue_version"] != answer["catalogue_version"]
    classes = client.get("/v1/detector-classes").get_json()
    assert (classes["catalogue"], classes["catalogue_version"]) == ("own", answer["catalogue_version"])
    assert classes["classes"][0]["filled"]["reference_class"] == "ultrasonic-180k"
    assert classes["classes"][1]["filled"] is None


def test_a_catalogue_by_keyword(file: Path) -> None:
    client = create_app(catalogue=f"shop={file}").test_client()
    assert [c["name"] for c in client.get("/v1/catalogues").get_json()["catalogues"]] == ["reference", "shop"]


@pytest.mark.parametrize(
    ("text", "told"),
    [("class = 5", "line 1: catalogue own"), (OWN.replace("= 7\n", "= -7\n"), "line 25: class own-180 parameters")],
)
def test_a_bad_file_stops_the_start(file: Path, text: str, told: str) -> None:
    file.write_text(text)
    with pytest.raises(FieldError) as raised:
        create_app(settings(file))
    assert str(raised.value).startswith("SHEETMARGIN_CATALOGUE: ")
    assert told in str(raised.value)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("SHEETMARGIN_CATALOGUE", "reference=x.toml"),
        ("SHEETMARGIN_CATALOGUE", "a=,b=x"),
    ],
)
def test_settings_that_cannot_be(name: str, value: str) -> None:
    with pytest.raises(FieldError, match=f"^{name}: "):
        settings_from({name: value})


def test_swapping(file: Path) -> None:
    """In the place of gunicorn's master: the old application answers on, the next requests see the new catalogue."""
    code = f"""
from pathlib import Path
from sheetmargin_service.app import create_app
from sheetmargin_service.config import settings_from
from sheetmargin_service.serving.catalogue_reload import sound, take_up

file = Path({str(file)!r})
app = create_app(settings_from({{"SHEETMARGIN_CATALOGUE": str(file)}}))
client = app.test_client()
seen = []
for text in ({OTHER!r}, "class = 5", {OWN!r}):
    file.write_text(text)
    right = take_up(app, sound=sound(app))
    number = client.get({QUERY!r}).get_json()["recommendations"][0]["setups"][0]["order_items"][0]["part_number"]
    stale = "sheetmargin_catalogue_stale 1.0" in client.get("/metrics").get_data(as_text=True)
    seen.append((right, number, stale))
file.unlink()
seen.append(take_up(app, sound=sound(app)))
seen.append(take_up(app, sound=True))
print(seen)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == str(
        [(True, "T-111-E", False), (False, "T-111-E", True), (True, "T-100-E", False), False, False]
    )


@pytest.mark.parametrize(
    ("work", "code"),
    [
        (lambda: None, 0),
        (lambda: sys.exit(3), 3),
        (lambda: 1 / 0, 70),
        (lambda: os.kill(os.getpid(), signal.SIGKILL), -signal.SIGKILL),
        (lambda: time.sleep(60), -signal.SIGKILL),
    ],
    ids=["well", "exit", "raise", "crash", "hang"],
)
def test_work_in_a_child(work: Callable[[], None], code: int) -> None:
    assert in_child(work, longest_s=1.0) == code


def test_a_child_that_dies_keeps_the_old(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = create_app(settings(file))
    before = app.extensions["sheetmargin"].catalogues
    monkeypatch.setattr(swap, "in_child", lambda *_, **__: -signal.SIGKILL)
    file.write_text(OTHER)
    assert not take_up(app, sound=sound(app))
    assert app.extensions["sheetmargin"].catalogues is before
    assert app.extensions["sheetmargin"].catalogue_stale


class Asking(threading.Thread):
    """Asks one question after another, each over a connection of its own, without trying twice."""

    def __init__(self, url: str) -> None:
        super().__init__()
        self.url, self.on = url, True
        self.numbers: list[str] = []
        self.failures: list[Exception] = []

    def run(self) -> None:
        while self.on:
            try:
                with urllib.request.urlopen(self.url + QUERY, timeout=30) as response:
                    self.numbers.append(emitter(json.load(response)))
            except Exception as error:
                self.failures.append(error)
            time.sleep(0.01)


def test_sighup_without_a_failed_request(file: Path, tmp_path: Path) -> None:
    environment = {"SHEETMARGIN_CATALOGUE": str(file)}
    with gunicorn(tmp_path, workers=2, environment=environment) as server:
        asking = [Asking(server.url) for _ in range(3)]
        for one in asking:
            one.start()

        def seen(text: str) -> bool:
            with urllib.request.urlopen(server.url + "/metrics", timeout=30) as response:
                return text in response.read().decode()

        def until(text: str) -> None:
            """Until every worker says so: the old ones are gone after a while."""
            ends, times = time.monotonic() + 60, 0
            while times < 8:
                times = times + 1 if seen(text) else 0
                assert time.monotonic() < ends, server.log.read_text()
                time.sleep(0.1)

        try:
            until("sheetmargin_catalogue_stale 0.0")
            file.write_text(OTHER.replace("face_radius_mm = 7\n", "face_radius_mm = 7.1\n"))
            server.signal(signal.SIGHUP)
            ends = time.monotonic() + 60
            while "T-111-E" not in asking[0].numbers[-1:]:
                assert time.monotonic() < ends, server.log.read_text()
                time.sleep(0.05)
            file.write_text("class = 5")
            server.signal(signal.SIGHUP)
            until("sheetmargin_catalogue_stale 1.0")
            file.write_text(OWN)
            server.signal(signal.SIGHUP)
            until("sheetmargin_catalogue_stale 0.0")
        finally:
            for one in asking:
                one.on = False
            for one in asking:
                one.join()
        assert not [one.failures for one in asking if one.failures], server.log.read_text()
        for one in asking:
            assert {"T-100-E", "T-111-E"} == set(one.numbers)
            assert one.numbers[-1] == "T-100-E"
    assert server.process.returncode == 0
    assert "line 1: catalogue own" in server.log.read_text()
