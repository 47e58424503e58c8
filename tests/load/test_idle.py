"""Probes while every thread is held, and who has nothing to say."""

from __future__ import annotations

import socket
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest
from sheetmargin_service.serving.socket_timeouts import READ_S
from support.servers import Server, gunicorn
from support.wire import HOST, request

THREADS = 2
IDLE = 60


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with gunicorn(tmp_path_factory.mktemp("idle"), threads=THREADS) as running:
        yield running


def seconds(server: Server, path: str) -> float:
    begun = time.monotonic()
    with urllib.request.urlopen(server.url + path, timeout=60) as answer:
        assert answer.status == 200
    return time.monotonic() - begun


@contextmanager
def connected(server: Server, count: int, begins: bytes = b"") -> Iterator[None]:
    with ExitStack() as stack:
        for _ in range(count):
            connection = stack.enter_context(socket.create_connection((HOST, server.port), timeout=10.0))
            if begins:
                connection.sendall(begins)
        yield


def test_sixty_who_say_nothing_hold_nobody(server: Server) -> None:
    alone = seconds(server, "/v1/version")
    with connected(server, IDLE):
        time.sleep(0.5)
        assert seconds(server, "/v1/version") < max(5.0, 10.0 * alone)


def test_who_said_nothing_at_first_is_answered_later(server: Server) -> None:
    with socket.create_connection((HOST, server.port), timeout=10.0) as connection:
        time.sleep(1.0)
        connection.sendall(request("GET", "/v1/version"))
        assert connection.recv(12) == b"HTTP/1.1 200"


@pytest.mark.parametrize("path", ["/livez", "/readyz"])
def test_probes_are_answered_while_every_thread_is_held(server: Server, path: str) -> None:
    alone = seconds(server, path)
    slow = request("POST", "/v1/recommendations", headers="Content-Type: application/json\r\nContent-Length: 500\r\n")
    with connected(server, 2 * THREADS, slow):
        time.sleep(0.5)
        waits = threading.Thread(target=seconds, args=(server, "/v1/version"))
        waits.start()
        assert seconds(server, path) < max(3.0, 10.0 * alone)
        assert waits.is_alive(), "a thread was free"
    waits.join()


@pytest.mark.parametrize("call", ["/v1/recommendations", "/v1/recommendations/batch"])
def test_who_sends_slowly_does_not_keep_others_from_computing(server: Server, call: str) -> None:
    paper = "/v1/recommendations?material=copy-paper&grammage_gsm=80&classes=ultrasonic-400k"
    for path in ("/readyz", paper):
        seconds(server, path)  # what is loaded at first use
    slow = request("POST", call, headers="Content-Type: application/json\r\nContent-Length: 500\r\n")
    with connected(server, 1, slow + b'[{"sheets"'):
        time.sleep(0.5)
        for path in ("/readyz", f"{paper}&thickness_um=100"):
            assert seconds(server, path) < 0.5 * READ_S
