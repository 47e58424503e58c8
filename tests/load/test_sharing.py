"""Processes share the work out: one that computes a batch leaves new connections to one that has nothing to do."""

from __future__ import annotations

import json
import socket
import time
import urllib.request
from pathlib import Path

from support.servers import Server, gunicorn

TESTS = Path(__file__).parents[1]
CALLERS = 20


def answering(server: Server, path: str) -> list[int]:
    """The processes that have answered a path, from the log."""
    lines = [json.loads(line) for line in server.log.read_text().splitlines()]
    return [line["process"] for line in lines if line.get("path") == path]


def both_serve(server: Server) -> bool:
    """Whether either process has answered."""
    urllib.request.urlopen(server.url + "/livez", timeout=30).close()
    return len(set(answering(server, "/livez"))) == 2


def test_a_process_with_a_batch_leaves_others_to_the_next(tmp_path: Path) -> None:
    jobs = "".join(
        json.dumps({"sheets": [{"material": "copy-paper", "grammage_gsm": 60 + n}]}) + "\n" for n in range(60)
    ).encode()
    head = (
        "POST /v1/recommendations/batch HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-ndjson\r\n"
        f"Content-Length: {len(jobs)}\r\n\r\n"
    )
    with gunicorn(tmp_path, "--pythonpath", str(TESTS), "support.slow:app", workers=2) as server:
        ends = time.monotonic() + 30.0
        while not both_serve(server):
            assert time.monotonic() < ends
            time.sleep(0.05)
        with socket.create_connection(("127.0.0.1", server.port), timeout=30) as connection:
            connection.sendall(head.encode() + jobs)
            received = b""
            while b"}\n" not in received:
                received += connection.recv(65536)
            for _ in range(CALLERS):
                urllib.request.urlopen(server.url + "/v1/version", timeout=30).close()
        while not (batch := answering(server, "/v1/recommendations/batch")):
            assert time.monotonic() < ends
            time.sleep(0.05)
        others = answering(server, "/v1/version")
    assert len(others) == CALLERS
    # By chance it would have half of them; 16 and more of 20 by chance is one case of 170.
    assert sum(process != batch[0] for process in others) >= 16
