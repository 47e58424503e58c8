"""Start, stop and replacement of the service as it is shipped: no request is lost."""

from __future__ import annotations

import json
import signal
import time
import urllib.request
from pathlib import Path

import pytest
from support.load import Crowd, Question, lost, statuses
from support.machine import children_of, memory_mb
from support.servers import Server, gunicorn


def one_class(number: int) -> Question:
    """A job that is computed, of a sheet that was not asked for before."""
    path = f"/v1/recommendations?material=copy-paper&grammage_gsm={60 + 0.01 * number:.2f}&classes=ultrasonic-180k"
    return Question(kind="one class", path=path)


def wait_for_other_workers(server: Server, before: list[int]) -> list[int]:
    """Until none of the workers is left and as many others serve."""
    ends = time.monotonic() + 60.0
    while set(now := children_of(server.process.pid)) & set(before) or len(now) < len(before):
        assert time.monotonic() < ends, "the workers are not replaced"
        time.sleep(0.05)
    return now


def answered_by(server: Server) -> float:
    """Recommendations that all processes, those that have ended too, count."""
    with urllib.request.urlopen(f"{server.url}/metrics") as answer:
        text = answer.read().decode()
    line = 'sheetmargin_requests_total{method="GET",route="/v1/recommendations",status="200"} '
    return float(text.partition(line)[2].splitlines()[0])


def test_a_stop_answers_what_has_been_asked(tmp_path: Path) -> None:
    with gunicorn(tmp_path, workers=2) as server:
        crowd = Crowd(port=server.port, question=one_class, callers=8)
        crowd.start()
        crowd.wait_for(40)
        told = time.monotonic()
        server.signal(signal.SIGTERM)
        assert server.stop() == 0
        stopped = time.monotonic()
        time.sleep(0.1)
        crowd.stop()
    assert stopped - told < 30.0
    # Whoever had an answer coming has got it; nobody was cut off or told of a failure. Later callers are refused.
    wrong = [one for one in lost(crowd.asked) if "ConnectionRefusedError" not in one.error]
    assert wrong == []
    assert sum(one.status == 200 for one in crowd.asked) >= 40


@pytest.mark.long
def test_workers_are_replaced_without_a_loss(tmp_path: Path) -> None:
    with gunicorn(tmp_path, "--max-requests", "40", "--max-requests-jitter", "10", workers=2) as server:
        first = children_of(server.process.pid)
        asked = Crowd(port=server.port, question=one_class, callers=6).run(count=250)
        last = wait_for_other_workers(server, first)
        # A request is counted when its last byte has left, which a caller may see first.
        ends = time.monotonic() + 5.0
        while (counted := answered_by(server)) < len(asked) and time.monotonic() < ends:
            time.sleep(0.05)
    assert not set(first) & set(last)
    assert list(lost(asked)) == []
    assert statuses(asked) == {200: len(asked)}
    # The counts of the workers that have ended are not forgotten.
    assert counted == len(asked)


@pytest.mark.long
def test_workers_share_what_was_built_before_they_were_forked(tmp_path: Path) -> None:
    with gunicorn(tmp_path, workers=2) as server:
        Crowd(port=server.port, question=one_class, callers=4).run(count=40)
        for worker in children_of(server.process.pid):
            # Of three processes each page that all share counts as a third.
            assert memory_mb(worker, "Pss") < 0.65 * memory_mb(worker, "Rss")
        lines = [json.loads(line) for line in server.log.read_text().splitlines()]
    told = {line["message"]: line for line in lines}
    assert told["operators are built"]["seconds"] > 0.0
    assert told["operators are built"]["classes"] > 5
    assert told["ready to fork workers"]["seconds"] > told["operators are built"]["seconds"]
    # A first question costs no more than a later one: nothing is built then.
    first = [line["seconds"] for line in lines if line.get("route") == "/v1/recommendations"]
    assert min(first[:2]) < 5.0 * sorted(first)[len(first) // 2]


def test_nothing_is_left_behind(tmp_path: Path) -> None:
    shared = Path("/dev/shm")
    before = set(shared.iterdir()) if shared.is_dir() else set()
    with gunicorn(tmp_path) as server:
        Crowd(port=server.port, question=one_class, callers=1).run(count=3)
    left = set(shared.iterdir()) - before if shared.is_dir() else set()
    assert not [path for path in left if path.name.startswith("sheetmargin")]
    assert server.process.returncode == 0
