"""One caller does its worst while others ask as ever: they wait little, nothing fails, nothing grows.

    SHEETMARGIN_LOAD_S=600 pytest -m long -s tests/load/test_worst.py

is ten minutes of it; without the variable it is one.
"""

from __future__ import annotations

import json
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import pytest
from sheetmargin_service.api.key_commands import add_key
from sheetmargin_service.serving.heap import PAUSE_S
from support.converter import plates
from support.load import Crowd, Question, by_kind, json_question, lost, quantile, statuses
from support.machine import children_of, memory_mb
from support.servers import Server, gunicorn
from support.wire import HOST

pytestmark = pytest.mark.long

SECONDS = float(os.environ.get("SHEETMARGIN_LOAD_S", "60"))
LIMITS = {"SHEETMARGIN_SECONDS_PER_KEY": "60/minute", "SHEETMARGIN_AT_ONCE": "2"}
"""As the compose file has them for addresses."""
SLOWER, GROWTH, PROBE_S = 3.0, 1.02, 5.0
"""Times the median of an idle service; of memory; what the manifests wait for a probe."""
JOBS, BATCH = "/v1/recommendations", "/v1/recommendations/batch"
PLATES = [(plate.material, plate.thickness_um) for plate in plates()]
BIG = b"[" + b",".join([b'{"sheets":[' + b",".join([b'{"":0,"":0}'] * 20_000) + b"]}"] * 8) + b"]"
REFUSED = {0, 200, 401, 413, 422, 429, 503}
"""0: the connection is closed on who still sends a body that is refused, and asks on."""


@dataclass(frozen=True, kw_only=True)
class Site:
    """The service, the token of who does the worst, and that of the others."""

    server: Server
    greedy: str
    modest: str


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("worst")
    file: Path = folder / "keys.toml"
    greedy, modest = (add_key(file, name, ["recommend", "batch", "metrics"]) for name in ("greedy", "modest"))
    environment = {"SHEETMARGIN_ACCESS": "keys", "SHEETMARGIN_KEYS_FILE": str(file), **LIMITS}
    with gunicorn(folder, workers=2, environment=environment) as server:
        yield Site(server=server, greedy=greedy, modest=modest)


def bearer(question: Question, token: str) -> Question:
    headers = (*question.headers, ("Authorization", f"Bearer {token}"))
    return Question(kind=question.kind, method=question.method, path=question.path, body=question.body, headers=headers)


def modest(site: Site) -> Callable[[int], Question]:
    """A sheet that was not asked for before, each time."""
    numbers = iter(range(1_000_000))
    lock = threading.Lock()

    def ask(_: int) -> Question:
        with lock:
            number = next(numbers)
        path = f"{JOBS}?material=copy-paper&grammage_gsm={50 + 0.001 * number:.3f}"
        return bearer(Question(kind="a new sheet", path=path), site.modest)

    return ask


def worst(site: Site, number: int) -> Question:
    """Lists of fifty plates, the largest bodies, and wrong keys, in turn."""
    match number % 4:
        case 0 | 1:
            sheets = [{"material": name, "thickness_um": (um or 0.0) + 0.001 * number} for name, um in PLATES]
            return bearer(json_question("fifty plates", JOBS, {"sheets": sheets}), site.greedy)
        case 2:
            kind = ("Content-Type", "application/json")
            return bearer(Question(kind="big", method="POST", path=BATCH, body=BIG, headers=(kind,)), site.greedy)
        case _:
            return bearer(Question(kind="wrong key", path=f"{JOBS}?material=pet&thickness_um=50"), f"modest.{number}")


def probe(number: int) -> Question:
    path = ("/livez", "/readyz")[number % 2]
    return Question(kind=path, path=path)


def hold_idle(port: int, stop: threading.Event) -> None:
    """Sixty connections on which nothing is said, made anew as they are closed."""
    while not stop.is_set():
        held = []
        for _ in range(60):
            try:
                held.append(socket.create_connection((HOST, port), timeout=5.0))
            except OSError:
                break
        stop.wait(10.0)
        for connection in held:
            connection.close()


def held_mb(server: Server) -> float:
    """Memory of the service after it had occasion to give back what is free; shared pages count once."""
    time.sleep(PAUSE_S)
    Crowd(port=server.port, question=lambda _: Question(kind="a search", path="/v1/materials?q=board"), callers=8).run(
        1.0
    )
    return sum(memory_mb(process) for process in (server.process.pid, *children_of(server.process.pid)))


def test_one_caller_does_its_worst(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    server, ask = site.server, modest(site)
    assert len(BIG) < 2 << 20
    Crowd(port=server.port, question=ask, callers=2, pause_s=0.2).run(5.0)  # what is loaded at first use
    idle = Crowd(port=server.port, question=ask, callers=2, pause_s=0.2).run(max(10.0, SECONDS / 20.0))
    workers = children_of(server.process.pid)
    others = Crowd(port=server.port, question=ask, callers=2, pause_s=0.2)
    probes = Crowd(port=server.port, question=probe, callers=1, pause_s=1.0)
    memory, asked = [], []
    for seconds in (SECONDS / 3.0, 2.0 * SECONDS / 3.0):
        stop = threading.Event()
        silent = threading.Thread(target=hold_idle, args=(server.port, stop))
        attack = Crowd(port=server.port, question=lambda number: worst(site, number), callers=24, pause_s=0.1)
        silent.start()
        if not memory:
            others.start()
            probes.start()
        asked += attack.run(seconds)
        stop.set()
        silent.join()
        if memory:
            others.stop()
            probes.stop()
        memory.append(held_mb(server))
    alone, beside = by_kind(idle)["a new sheet"], by_kind(others.asked)["a new sheet"]
    with capsys.disabled():
        print(f"\n\n{SECONDS:.0f} s; the worst: {json.dumps(statuses(asked))}")
        print(f"others: {json.dumps(statuses(others.asked))}")
        print(f"a new sheet, idle: median {1e3 * median(alone):.0f} ms, p99 {1e3 * quantile(alone, 0.99):.0f} ms")
        print(f"beside the worst: median {1e3 * median(beside):.0f} ms, p99 {1e3 * quantile(beside, 0.99):.0f} ms")
        for kind, times in sorted(by_kind(probes.asked).items()):
            print(f"{kind}: median {1e3 * median(times):.0f} ms, longest {1e3 * max(times):.0f} ms")
        print(f"memory {memory[0]:.1f} MB after a third, {memory[1]:.1f} MB at the end")
    assert list(lost(others.asked)) == []
    assert statuses(others.asked) == {200: len(others.asked)}
    assert set(statuses(asked)) <= REFUSED
    assert children_of(server.process.pid) == workers
    assert median(beside) < SLOWER * median(alone)
    assert set(statuses(probes.asked)) == {200}
    assert max(one.seconds for one in probes.asked) < PROBE_S
    assert memory[1] <= GROWTH * memory[0]
