"""What a process takes: to start, to hold, to be imported; and what a question costs on its way through HTTP."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path
from statistics import median

import pytest
from sheetmargin import Client, Sheet
from sheetmargin_service.acoustics.operators import Operator
from sheetmargin_service.principles.catalogues import reference_catalogue
from support.machine import children_of, memory_mb
from support.principle_cases import class_model
from support.servers import gunicorn

pytestmark = pytest.mark.long

Record = Callable[[str, object], None]


def test_importing_the_client(record_property: Record) -> None:
    """`import sheetmargin` over `import requests`, each in a fresh process, by turns."""

    def seconds(module: str) -> float:
        code = f"import time; t = time.process_time(); import {module}; print(time.process_time() - t)"
        return float(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout)

    found = median(seconds("sheetmargin") / seconds("requests") for _ in range(9))
    record_property("import_over_requests", round(found, 2))
    assert found <= 1.5


def test_a_post_over_a_call_in_the_process(tmp_path: Path, record_property: Record) -> None:
    """Median time of the client's call to a server over that to its own process, by turns, each sheet a new one."""
    grammage = count(60_000)

    def seconds(client: Client) -> float:
        sheet = Sheet(material="copy-paper", grammage_gsm=next(grammage) / 1000)
        begun = time.perf_counter()
        client.recommend(sheet)
        return time.perf_counter() - begun

    with gunicorn(tmp_path) as server, Client(server.url) as remote, Client.in_process() as local:
        for client in (remote, local) * 3:
            seconds(client)
        pairs = [(seconds(remote), seconds(local)) for _ in range(40)]
    found = median(pair[0] for pair in pairs) / median(pair[1] for pair in pairs)
    record_property("post_over_in_process", round(found, 2))
    assert found <= 1.6


def test_one_command(record_property: Record) -> None:
    """Reported: what an engineer waits for who asks at a shell, without a service."""
    command = [sys.executable, "-m", "sheetmargin", "recommend", "--material", "copy-paper", "--grammage-gsm", "80"]

    def seconds() -> float:
        begun = time.perf_counter()
        subprocess.run(command, capture_output=True, check=True)
        return time.perf_counter() - begun

    record_property("command_s", round(median(seconds() for _ in range(3)), 1))


def test_a_server_starts_and_stands(tmp_path: Path, record_property: Record) -> None:
    """Reported: time to the first answer, memory of a worker (shared pages counted in parts), size of the operators."""
    begun = time.perf_counter()
    with gunicorn(tmp_path, workers=2) as server, Client(server.url) as client:
        first = client.recommend(Sheet(material="copy-paper", grammage_gsm=80))
        record_property("start_s", round(time.perf_counter() - begun, 1))
        for grammage in range(60, 100):
            client.recommend(Sheet(material="copy-paper", grammage_gsm=grammage))
        workers = [memory_mb(worker) for worker in children_of(server.process.pid)]
        record_property("worker_mb", round(max(workers)))
    names = [c.id for c in reference_catalogue().classes if c.principle == "ultrasonic"]
    sizes = [_size(class_model(name).pair.operator) for name in names]
    record_property("operator_kb", round(sum(sizes) / len(sizes) / 1024))
    assert first.best is not None
    assert len(workers) == 2


def _size(operator: Operator) -> int:
    return operator.at_nodes.nbytes + operator.series.nbytes
