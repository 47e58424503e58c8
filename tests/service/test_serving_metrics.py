"""What is counted."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.parser import text_string_to_metric_families
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.serving import metric_files
from support.answers import CountingRecommend

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
DASHBOARD = Path(__file__).parents[2] / "docker" / "grafana" / "sheetmargin.json"


@pytest.fixture
def app() -> Flask:
    return create_app(service=replace(load_service(Settings()), recommend=CountingRecommend()))


def samples(text: str) -> dict[tuple[str, frozenset[tuple[str, str]]], float]:
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def counted(client: FlaskClient, name: str, labels: Mapping[str, str] | None = None) -> float:
    return samples(client.get("/metrics", buffered=True).text).get((name, frozenset((labels or {}).items())), 0.0)


def test_requests_by_route(app: Flask) -> None:
    client = app.test_client()
    for url in (QUERY, QUERY, f"{QUERY}0&nonsense=1", "/made/up", "/made/up/too"):
        client.get(url, buffered=True)
    name, route = "sheetmargin_requests_total", "/v1/recommendations"
    assert counted(client, name, {"route": route, "method": "GET", "status": "200"}) == 2
    assert counted(client, name, {"route": route, "method": "GET", "status": "422"}) == 1
    assert counted(client, name, {"route": "none", "method": "GET", "status": "404"}) == 2
    assert counted(client, "sheetmargin_request_seconds_count", {"route": route}) == 3


@pytest.mark.parametrize(
    ("sheet", "poles"), [("material=pmma&thickness_um=3000", 1), ("material=pmma&thickness_um=500", 0)]
)
def test_jobs_near_a_thickness_resonance(sheet: str, poles: int) -> None:
    client = create_app(service=load_service(Settings())).test_client()
    client.get(f"/v1/recommendations?{sheet}&classes=ultrasonic-400k", buffered=True)
    assert counted(client, "sheetmargin_jobs_with_poles_total") == poles


def test_physics_and_verdicts(app: Flask) -> None:
    client = app.test_client()
    for decimal in range(3):
        client.get(f"{QUERY}.{decimal}", buffered=True)
    assert counted(client, "sheetmargin_physics_seconds_count") == 3
    assert counted(client, "sheetmargin_verdicts_total", {"verdict": "suitable"}) == 3


def test_answers_that_the_caller_holds(app: Flask) -> None:
    client = app.test_client()
    etag = client.get(QUERY, buffered=True).headers["ETag"]
    for _ in range(2):
        assert client.get(QUERY, buffered=True, headers={"If-None-Match": etag}).status_code == 304
    assert counted(client, "sheetmargin_cache_total", {"outcome": "hit"}) == 2
    assert counted(client, "sheetmargin_cache_total", {"outcome": "miss"}) == 1
    assert counted(client, "sheetmargin_physics_seconds_count") == 1


def test_answers_that_the_process_keeps(app: Flask) -> None:
    client = app.test_client()
    # A page's own origin goes the long way, the rest the short one; both are counted alike.
    for headers in ({}, {}, {"Origin": "https://shop.example"}, {}):
        assert client.get(QUERY, buffered=True, headers=headers).status_code == 200
    assert counted(client, "sheetmargin_cache_total", {"outcome": "kept"}) == 3
    assert counted(client, "sheetmargin_cache_total", {"outcome": "miss"}) == 1
    asked = {"route": "/v1/recommendations", "method": "GET", "status": "200"}
    assert counted(client, "sheetmargin_requests_total", asked) == 4
    assert counted(client, "sheetmargin_request_seconds_count", {"route": "/v1/recommendations"}) == 4
    assert counted(client, "sheetmargin_physics_seconds_count") == 1


def test_what_is_running_includes_the_resolved_job_itself(app: Flask) -> None:
    client = app.test_client()
    assert counted(client, "sheetmargin_requests_running") == 1
    assert counted(client, "sheetmargin_requests_running") == 1


def test_two_applications_count_apart(app: Flask) -> None:
    other = create_app(service=replace(load_service(Settings()), recommend=CountingRecommend()))
    app.test_client().get(QUERY, buffered=True)
    assert counted(other.test_client(), "sheetmargin_physics_seconds_count") == 0


def test_the_format(app: Flask) -> None:
    # As Prometheus 2 asks.
    accept = "application/openmetrics-text;version=1.0.0;q=0.5,text/plain;version=0.0.4;q=0.3,*/*;q=0.2"
    response = app.test_client().get("/metrics", headers={"Accept": accept})
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert response.headers["Cache-Control"] == "no-store"


PROCESSES = """
import os, sys
from sheetmargin_service.serving import metric_files as processes
directory = processes.prepare(sys.argv[1])
from sheetmargin_service.serving.metrics import new_metrics, routes
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

def total():
    registry = CollectorRegistry()
    MultiProcessCollector(registry)
    with processes.reading():
        text = generate_latest(registry).decode()
    return {line.rpartition(" ")[0]: float(line.rpartition(" ")[2]) for line in text.splitlines() if line[0] != "#"}

metrics = new_metrics()
children = []
for number in range(3):
    child = os.fork()
    if child == 0:
        metrics.verdicts.labels("suitable").inc(number + 1)
        metrics.physics_seconds.observe(0.2)
        metrics.running.inc()
        os._exit(0)
    os.waitpid(child, 0)
    children.append(child)
before = total()
assert before['sheetmargin_verdicts_total{verdict="suitable"}'] == 6, before
assert before["sheetmargin_requests_running"] == 3, before
for child in children:
    processes.settle(child)
    processes.settle(child)
after = total()
assert after["sheetmargin_requests_running"] == 0, after
del before["sheetmargin_requests_running"], after["sheetmargin_requests_running"]
assert after == before
left = {file.name for file in directory.iterdir()}
assert not any(str(child) in name for child in children for name in left), left
"""


def test_counts_of_ended_processes_stay_and_their_files_go(tmp_path: Path) -> None:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("PROMETHEUS")}
    done = subprocess.run(
        [sys.executable, "-c", PROCESSES, str(tmp_path)], env=clean, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_a_process_that_begins_to_count_is_read_at_any_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def read() -> bytes:
        registry = CollectorRegistry()
        MultiProcessCollector(registry, path=str(tmp_path))  # type: ignore[no-untyped-call]
        return generate_latest(registry)

    real, read_meanwhile = os.posix_fallocate, []

    def give_room(*how: int) -> None:
        read_meanwhile.append(read())
        real(*how)

    monkeypatch.setenv(metric_files.DIRECTORY, str(tmp_path))
    monkeypatch.setattr(os, "posix_fallocate", give_room)
    metric_files.reserve(77)
    assert len(read_meanwhile) == 3
    assert sorted(file.stat().st_size for file in tmp_path.glob("*_77.db")) == [metric_files.ROOM] * 3
    read()


def test_the_dashboard_asks_for_what_is_counted(app: Flask) -> None:
    client = app.test_client()
    etag = client.get(QUERY, buffered=True).headers["ETag"]
    client.get(QUERY, buffered=True, headers={"If-None-Match": etag})
    app.extensions["sheetmargin.metrics"].refused.labels("key").inc()
    known = {name for name, _ in samples(client.get("/metrics", buffered=True).text)}
    dashboard = json.loads(DASHBOARD.read_text())
    texts = [target["expr"] for panel in dashboard["panels"] for target in panel.get("targets", ())]
    asked = {name for text in texts for name in re.findall(r"sheetmargin_[a-z_]+", text)}
    assert asked
    assert asked <= known
    counters = {"requests_total", "verdicts_total", "cache_total", "refused_total"}
    assert {f"sheetmargin_{name}" for name in counters} <= asked
