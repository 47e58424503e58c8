"""What a fault costs: nothing that was asked is lost, and afterwards everything is as before.

One service for all: two workers, a Redis and a catalogue file of its own. Each test hurts it while others ask, and
leaves it whole.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import struct
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from sheetmargin import Client, Job, Sheet
from sheetmargin_service.serving.socket_timeouts import READ_S
from support.catalogues import OWN
from support.load import LONGEST_S, Crowd, Question, lost, statuses
from support.machine import children_of
from support.servers import Server, gunicorn
from support.stores import Redis
from support.wire import HOST, exchange, post, request

pytestmark = pytest.mark.long

WORKERS, THREADS = 2, 4
PLENTY = "1000000/minute"


@dataclass(frozen=True, kw_only=True)
class Shop:
    """The service, and what it lives on."""

    server: Server
    catalogue: Path
    store: Redis | None

    def workers(self) -> list[int]:
        return children_of(self.server.process.pid)

    def emitter(self) -> str:
        """Part number of the emitter that is recommended for plain paper."""
        with Client(self.server.url) as client:
            best = client.recommend(
                Job(sheets=[Sheet(material="copy-paper", grammage_gsm=80)], classes=["own-400"])
            ).best
        assert best is not None
        return str(best.setups[0].order_items[0].part_number)

    def told(self, name: str) -> float:
        """A count of `/metrics`."""
        with urllib.request.urlopen(f"{self.server.url}/metrics") as answer:
            text = answer.read().decode()
        return float(text.partition(f"\n{name} ")[2].splitlines()[0])

    def until(self, true: Callable[[], bool]) -> None:
        ends = time.monotonic() + LONGEST_S
        while not true():
            assert time.monotonic() < ends, self.server.log.read_text()[-5000:]
            time.sleep(0.05)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    folder = tmp_path_factory.mktemp("shop")
    catalogue = folder / "own.toml"
    catalogue.write_text(OWN)
    environment = {
        "SHEETMARGIN_CATALOGUE": str(catalogue),
        "SHEETMARGIN_RATE_PER_ADDRESS": PLENTY,
    }
    with ExitStack() as stack:
        store = None
        if program := shutil.which("redis-server"):
            store = Redis(program, folder)
            store.start()
            stack.callback(store.stop)
            environment["SHEETMARGIN_REDIS_URL"] = store.url
        server = stack.enter_context(gunicorn(folder, workers=WORKERS, threads=THREADS, environment=environment))
        whole = Shop(server=server, catalogue=catalogue, store=store)
        whole.until(lambda: len(whole.workers()) == WORKERS)
        yield whole


def computed(number: int) -> Question:
    """A job of a sheet that was not asked for before."""
    path = f"/v1/recommendations?material=copy-paper&grammage_gsm={60 + 0.001 * number:.3f}&classes=own-400"
    return Question(kind="computed", path=path)


@contextmanager
def asking(shop: Shop, callers: int = 4) -> Iterator[Crowd]:
    """Others ask meanwhile; in the end each of their questions has its answer."""
    crowd = Crowd(port=shop.server.port, question=computed, callers=callers)
    crowd.start()
    try:
        crowd.wait_for(callers)
        yield crowd
        crowd.wait_for(len(crowd.asked) + callers)
    finally:
        crowd.stop()
    assert list(lost(crowd.asked)) == []
    assert statuses(crowd.asked) == {200: len(crowd.asked)}


@pytest.mark.parametrize(
    "number",
    [signal.SIGKILL, signal.SIGTERM, signal.SIGSEGV],
)
def test_a_worker_that_is_killed(shop: Shop, number: signal.Signals) -> None:
    """Its connections break, so the callers are clients that ask again; every answer is the one it was before."""
    jobs = [Job(sheets=[Sheet(material="copy-paper", grammage_gsm=70 + i)], classes=["own-400"]) for i in range(8)]
    with Client(shop.server.url) as client:
        right = [client.recommend(job) for job in jobs]
    counted = 'sheetmargin_requests_total{method="POST",route="/v1/recommendations",status="200"}'
    before, first = shop.told(counted), shop.workers()
    answers: list[bool] = []
    stop = threading.Event()

    def ask() -> None:
        with Client(shop.server.url, timeout=LONGEST_S) as client:
            while not stop.is_set():
                answers.extend(client.recommend(job) == wanted for job, wanted in zip(jobs, right, strict=True))

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    shop.until(lambda: len(answers) >= 10)
    os.kill(first[0], number)
    shop.until(lambda: first[0] not in shop.workers() and len(shop.workers()) == WORKERS)
    seen = len(answers)
    shop.until(lambda: len(answers) >= seen + 40)
    stop.set()
    for thread in threads:
        thread.join(timeout=LONGEST_S)
        assert not thread.is_alive()
    # A client that had to give up would have ended its thread in the middle of a round.
    assert len(answers) % len(jobs) == 0
    assert all(answers)
    assert first[1] in shop.workers()
    # What the dead worker counted is kept, but for what it had answered and not yet counted.
    assert shop.told(counted) >= before + len(answers) - THREADS


def test_redis_stopped_and_back(shop: Shop, require_part: Callable[[str], str]) -> None:
    require_part("redis")
    assert shop.store is not None
    with asking(shop) as crowd:
        shop.store.stop()
        crowd.wait_for(len(crowd.asked) + 40)
        shop.store.start()
        crowd.wait_for(len(crowd.asked) + 20)


def dribble(port: int, start: bytes, drop: bytes) -> float:
    """Send a beginning, then a drop each half second, until the service has enough of it; the seconds that took."""
    begun = time.monotonic()
    with socket.create_connection((HOST, port), timeout=LONGEST_S) as connection:
        connection.sendall(start)
        connection.settimeout(0.5)
        while time.monotonic() - begun < LONGEST_S:
            try:
                if connection.recv(1 << 16) == b"":
                    break
            except TimeoutError:
                pass
            except OSError:
                break
            try:
                connection.sendall(drop)
            except OSError:
                break
    return time.monotonic() - begun


SLOW_HEAD = b"GET /livez HTTP/1.1\r\nHost: x\r\n", b"X-A: b\r\n"
LENGTH = "Content-Type: application/json\r\nContent-Length: 5000\r\n"
SLOW_BODY = request("POST", "/v1/recommendations", headers=LENGTH), b" "


@pytest.mark.parametrize("pairs", [THREADS // 2, WORKERS * THREADS])
def test_clients_slower_than_allowed(shop: Shop, pairs: int) -> None:
    """They are sent away, also where they are more than there are threads; whoever waits behind them is answered."""
    before, took = shop.workers(), []
    with asking(shop) as crowd:
        slow = [
            threading.Thread(target=lambda sent=sent: took.append(dribble(shop.server.port, *sent)))
            for sent in [SLOW_HEAD, SLOW_BODY] * pairs
        ]
        for thread in slow:
            thread.start()
        for thread in slow:
            thread.join(timeout=2 * LONGEST_S)
            assert not thread.is_alive(), "a slow client holds its thread for ever"
    assert len(took) == len(slow)
    assert min(took) > READ_S - 1.0
    # A process's threads may be held several times over before one is free, at worst by all of them: which process
    # takes a connection is chance.
    longest_s = READ_S * (1 + len(slow) // THREADS) + 5.0
    assert max(took) < longest_s
    assert max(one.seconds for one in crowd.asked) < longest_s
    assert shop.workers() == before


def test_connections_closed_by_half(shop: Shop) -> None:
    before = shop.workers()
    job = post({"sheets": [{"material": "copy-paper", "grammage_gsm": 80}], "classes": ["own-400"]})
    whole = exchange(shop.server.port, job)
    with asking(shop):
        for _ in range(WORKERS * THREADS):
            # Nothing more to say, but listening: as good as any other.
            assert exchange(shop.server.port, job).body == whole.body
            # Nothing more to say in the middle of a word.
            for cut in (10, len(job) // 2, len(job) - 1):
                reply = exchange(shop.server.port, job[:cut])
                assert reply.status in (0, 400), reply
                assert reply.seconds < READ_S - 1.0
            # Not listening any more.
            with socket.create_connection((HOST, shop.server.port)) as deaf:
                deaf.shutdown(socket.SHUT_RD)
                deaf.sendall(job)
            # Gone with a reset while the answer is being computed.
            with socket.create_connection((HOST, shop.server.port)) as gone:
                gone.sendall(job)
                gone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    assert shop.workers() == before


def take_up(shop: Shop, content: bytes) -> None:
    """Replace the catalogue file and let it be taken up, while others ask."""
    with asking(shop) as crowd:
        before = shop.workers()
        shop.catalogue.write_bytes(content)
        shop.server.signal(signal.SIGHUP)
        shop.until(lambda: not set(before) & set(shop.workers()))
        crowd.wait_for(len(crowd.asked) + 20)


HALF = OWN.encode()[: len(OWN) // 2]


@pytest.mark.parametrize(
    "text",
    [
        HALF,
        b"",
        bytes(100_000),
        OWN.replace("face_radius_mm = 4\n", "face_radius_mm = 1e300\n").encode(),
        OWN.replace("gap_max_mm = 40", "gap_max_mm = 10").encode(),
    ],
    ids=["half", "empty", "zeros", "huge", "contrary"],
)
def test_a_broken_catalogue(shop: Shop, text: bytes) -> None:
    try:
        take_up(shop, text)
        assert shop.emitter() == "T-400"
        assert shop.told("sheetmargin_catalogue_stale") == 1.0
    finally:
        take_up(shop, OWN.encode())
    assert shop.told("sheetmargin_catalogue_stale") == 0.0


CLOCK = """\
import time
from pathlib import Path

now = time.time
time.time = lambda: now() + float(Path({file!r}).read_text())
"""
"""Loaded by Python before anything else: the wall clock of the whole process is as far off as a file says."""


def test_the_clock_is_set(tmp_path: Path) -> None:
    """For the whole service, by two hours there and back: no worker is taken for dead, nobody held off or cut short."""

    def off_by(seconds: float) -> None:
        new = tmp_path / "new"
        new.write_text(str(seconds))
        new.replace(tmp_path / "offset")

    off_by(0.0)
    (tmp_path / "sitecustomize.py").write_text(CLOCK.format(file=str(tmp_path / "offset")))
    environment = {"PYTHONPATH": str(tmp_path), "SHEETMARGIN_RATE_PER_ADDRESS": PLENTY}

    def question(number: int) -> Question:
        return Question(kind="computed", path=computed(number).path.replace("own-400", "ultrasonic-400k"))

    with gunicorn(tmp_path, workers=WORKERS, environment=environment) as server:
        crowd = Crowd(port=server.port, question=question, callers=4)
        crowd.start()
        crowd.wait_for(40)
        before = children_of(server.process.pid)
        assert len(before) == WORKERS
        for seconds in (7200.0, -7200.0, 0.0):
            crowd.wait_for(len(crowd.asked) + 40)
            off_by(seconds)
        crowd.wait_for(len(crowd.asked) + 40)
        crowd.stop()
        assert children_of(server.process.pid) == before
        assert server.stop() == 0
    assert list(lost(crowd.asked)) == []
    assert statuses(crowd.asked) == {200: len(crowd.asked)}
    # By the worker that had most to do, at least.
    assert server.log.read_text().count("the clock was set") >= 3
