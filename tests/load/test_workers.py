"""What is asked at the same time is computed by workers side by side."""

from __future__ import annotations

import socket
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from gunicorn.config import Config
from sheetmargin import Client, Job, Sheet
from sheetmargin_service.serving import worker
from sheetmargin_service.serving.worker import PatientWorker
from support.closed_loop import processor_seconds
from support.servers import gunicorn

TURNS, JOBS = 4, 5


class Worker(PatientWorker):
    """As far as it takes connections: they stay open, and nothing is read from them."""

    def __init__(self, *, under_way: int) -> None:
        self.cfg, self.nr_conns = Config(), under_way
        self.keepalived_conns, self.pending_conns = deque(), deque()
        self.taken: list[Any] = []

    def enqueue_req(self, conn: Any) -> None:
        self.taken.append(conn)


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as made:
        made.setblocking(False)
        yield made


@pytest.mark.parametrize(("under_way", "to_the_other"), [(0, False), (1, True)])
def test_who_computes_leaves_a_connection_to_who_is_idle(
    listener: socket.socket, monkeypatch: pytest.MonkeyPatch, under_way: int, to_the_other: bool
) -> None:
    """Both have been woken by it; the other takes it as soon as it may."""
    one, other = Worker(under_way=under_way), Worker(under_way=0)
    monkeypatch.setattr(worker.time, "sleep", lambda _: other.accept(listener))
    with socket.create_connection(listener.getsockname()):
        one.accept(listener)
    assert (len(one.taken), len(other.taken)) == ((0, 1) if to_the_other else (1, 0))
    for conn in one.taken + other.taken:
        conn.sock.close()


def test_who_computes_takes_a_connection_that_nobody_else_does(listener: socket.socket) -> None:
    one = Worker(under_way=1)
    with socket.create_connection(listener.getsockname()):
        one.accept(listener)
    (conn,) = one.taken
    conn.sock.close()


@pytest.mark.long
def test_two_calls_at_once_go_to_two_workers(tmp_path: Path) -> None:
    """Both begin while both workers are idle: one takes the first, and leaves the second to the other. How often, a
    machine decides that has a processor for each of them."""
    numbers = count()

    def jobs() -> list[Job]:
        return [
            Job(sheets=(Sheet(material="copy-paper", grammage_gsm=60.0 + next(numbers) / 100),)) for _ in range(JOBS)
        ]

    with gunicorn(tmp_path, workers=2) as server, ThreadPoolExecutor(2) as pool:

        def ask(sheets: list[Job]) -> None:
            with Client(server.url, timeout=300.0) as client:
                assert all(outcome.error is None for outcome in client.recommend_many(sheets))

        list(pool.map(ask, [jobs(), jobs()]))  # what is loaded at first use
        before = processor_seconds(server.process.pid)
        for _ in range(TURNS):
            list(pool.map(ask, [jobs(), jobs()]))
        after = processor_seconds(server.process.pid)
    spent = [now - then for now, then in zip(after, before, strict=True)]
    assert len(spent) == 2
    assert min(spent) > 0.3 * sum(spent), spent
