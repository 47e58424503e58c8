"""A light client that asks one question over and over, so that what is measured is the server."""

from __future__ import annotations

import socket
import threading
import time
from pathlib import Path

from support.machine import children_of


def requests_per_second(port: int, path: str, *, seconds: float, connections: int) -> float:
    """Answers a second on connections that are kept, each with one question under way; every one must be a 200."""
    question = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: */*\r\n\r\n".encode()
    counts = [0] * connections
    wrong: list[bytes] = []
    begun = time.monotonic()

    def ask(caller: int) -> None:
        with socket.create_connection(("127.0.0.1", port), timeout=30.0) as connection:
            while time.monotonic() - begun < seconds and not wrong:
                connection.sendall(question)
                head = _whole_answer(connection)
                if not head.startswith(b"HTTP/1.1 200 "):
                    wrong.append(head)
                counts[caller] += 1

    threads = [threading.Thread(target=ask, args=(caller,)) for caller in range(connections)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong, wrong[0]
    return sum(counts) / (time.monotonic() - begun)


def _whole_answer(connection: socket.socket) -> bytes:
    """Read an answer of stated length to its end; its head."""
    received = b""
    while b"\r\n\r\n" not in received:
        received += _some(connection)
    head, _, body = received.partition(b"\r\n\r\n")
    missing = int(head.lower().partition(b"\r\ncontent-length:")[2].split(b"\r\n", 1)[0]) - len(body)
    while missing > 0:
        missing -= len(_some(connection))
    return head


def _some(connection: socket.socket) -> bytes:
    data = connection.recv(1 << 18)
    assert data, "the connection was closed within an answer"
    return data


def processor_seconds(master: int) -> list[float]:
    """Processor time of each process that a process has forked, all threads (schedstat of proc(5), nanoseconds)."""
    return [
        1e-9 * sum(int(file.read_text().split()[0]) for file in Path(f"/proc/{child}/task").glob("*/schedstat"))
        for child in children_of(master)
    ]
