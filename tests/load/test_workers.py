"""What is asked at the same time is computed by workers side by side."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import count
from pathlib import Path

from sheetmargin import Client, Job, Sheet
from support.closed_loop import processor_seconds
from support.servers import gunicorn

TURNS, JOBS = 4, 5


def test_two_calls_at_once_go_to_two_workers(tmp_path: Path) -> None:
    """Both begin while both workers are idle: one takes the first, and leaves the second to the other."""
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
