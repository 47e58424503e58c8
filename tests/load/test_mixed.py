"""Mixed load at four fifths of the capacity: nothing fails, memory stays, times are told.

    SHEETMARGIN_LOAD_S=600 pytest -m long -s tests/load/test_mixed.py

is ten minutes of it; without the variable it is one.

The capacity is the highest rate of closed-loop callers at which the 99th percentile of a new sheet's time is below four
times the median of a lone caller. The other kinds are far cheaper or dearer, so that one percentile over all of them
would compare one kind with another.
"""

from __future__ import annotations

import itertools
import os
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from statistics import median
from typing import Any

import pytest
from sheetmargin_service.serving.heap import PAUSE_S
from support.load import Asked, Crowd, Question, by_kind, json_question, lost, quantile
from support.machine import children_of, memory_mb
from support.servers import Server, gunicorn

pytestmark = pytest.mark.long

SECONDS = float(os.environ.get("SHEETMARGIN_LOAD_S", "60"))
CALLERS = (1, 2, 3, 4, 6, 8)
MOST_CALLERS = 16
"""Of the paced load: enough that a slow answer does not hold back the next question."""
SLOWER = 4.0
SHARE = 0.8
EARLY, LATE = 5_000, 20_000
GROWTH = 1.02

RECOMMENDATIONS = "/v1/recommendations"
KNOWN = [f"{RECOMMENDATIONS}?material=coated-paper&grammage_gsm={90 + 5 * i}&limit=3" for i in range(20)]
NEW, EXPECTED = "a new sheet", {"wrong": 422, "not modified": 304}


def _paper(number: int) -> dict[str, Any]:
    return {"material": "copy-paper", "grammage_gsm": round(50 + 0.001 * number, 3)}


def _new(number: int) -> Question:
    return Question(kind=NEW, path=f"{RECOMMENDATIONS}?material=copy-paper&grammage_gsm={50 + 0.001 * number:.3f}")


def _list(number: int) -> Question:
    sheets = [
        _paper(number),
        {"material": "pet", "thickness_um": 50},
        {"material": "coated-board", "grammage_gsm": 300},
    ]
    return json_question("a list of three", RECOMMENDATIONS, {"sheets": sheets, "line": {"speed_m_per_min": 100}})


def _known(number: int) -> Question:
    return Question(kind="a known sheet", path=KNOWN[number % len(KNOWN)])


def _page(number: int) -> Question:
    job = {"sheets": [_paper(number)], "classes": ["ultrasonic-400k"]}
    return json_question("a set-up sheet", "/v1/setup-sheets", job)


def _batch(number: int) -> Question:
    jobs = [{"sheets": [_paper(4 * number + i)], "classes": ["ultrasonic-180k"]} for i in range(4)]
    return json_question("a batch of four", f"{RECOMMENDATIONS}/batch", jobs)


def _prediction(number: int) -> Question:
    setup = {"detector_class": "ultrasonic-400k", "gap_mm": 26}
    return json_question("a prediction", "/v1/predictions", {"sheet": _paper(number), "setup": setup})


def _search(_: int) -> Question:
    return Question(kind="a search", path="/v1/materials?q=board")


def _wrong(number: int) -> Question:
    return json_question("wrong", RECOMMENDATIONS, {"sheets": [{"material": f"coppy-paper {number}"}]})


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with gunicorn(tmp_path_factory.mktemp("mixed"), workers=2) as running:
        yield running


def mixes_of(server: Server) -> tuple[Callable[[int], Question], Callable[[int], Question]]:
    """Twenty questions in turn, as sites, quoting systems and people ask (a choice), and the cheap of them."""
    tags = {}
    for path in KNOWN:
        with urllib.request.urlopen(server.url + path) as answer:
            tags[path] = answer.headers["ETag"]

    def held(number: int) -> Question:
        path = KNOWN[number % len(KNOWN)]
        return Question(kind="not modified", path=path, headers=(("If-None-Match", tags[path]),))

    turn = (_new, _known, held, _list, _known, _new, _search, _known, _page, _new)
    turn += (_known, _batch, held, _new, _known, _prediction, _new, _search, _known, _wrong)
    cheap = (_known, held, _search, _wrong)
    return lambda number: turn[number % len(turn)](number), lambda number: cheap[number % len(cheap)](number)


@dataclass
class Load:
    """Callers of one service."""

    server: Server
    answered: int = 0
    numbers: Iterator[int] = field(default_factory=itertools.count)

    def ask(
        self,
        mix: Callable[[int], Question],
        *,
        callers: int,
        seconds: float = float("inf"),
        up_to: float = float("inf"),
        rate: float | None = None,
    ) -> list[Asked]:
        """Ask for so long, or until so many are answered in all; with a `rate` each question at its time, whether or
        not the one before it is answered."""
        begun, due = time.monotonic(), itertools.count()

        def question(_: int) -> Question:
            if rate is not None:
                time.sleep(max(0.0, begun + next(due) / rate - time.monotonic()))
            # No sheet is new twice.
            return mix(next(self.numbers))

        crowd = Crowd(port=self.server.port, question=question, callers=callers)
        crowd.start()
        while time.monotonic() - begun < seconds and self.answered + len(crowd.asked) < up_to:
            time.sleep(0.02)
        crowd.stop()
        self.answered += len(crowd.asked)
        assert list(lost(crowd.asked)) == []
        assert [one for one in crowd.asked if one.status != EXPECTED.get(one.kind, 200)] == []
        return crowd.asked

    def memory_mb(self) -> float:
        """Memory of the service while nothing is computed, each worker having had occasion to give back what is free; a
        page that processes share counts once."""
        time.sleep(PAUSE_S)
        self.ask(_search, callers=MOST_CALLERS, seconds=0.5)
        processes = [self.server.process.pid, *children_of(self.server.process.pid)]
        return sum(memory_mb(process) for process in processes)


def capacity(load: Load, mix: Callable[[int], Question]) -> tuple[float, float]:
    """Requests a second, and the median time of a lone caller's new sheet."""
    best, alone = 0.0, 0.0
    for callers in CALLERS:
        begun = time.monotonic()
        asked = load.ask(mix, callers=callers, seconds=max(6.0, SECONDS / 20.0))
        rate = len(asked) / (time.monotonic() - begun)
        new = by_kind(asked)[NEW]
        alone = alone or median(new)
        if quantile(new, 0.99) < SLOWER * alone:
            best = max(best, rate)
    return best, alone


def test_mixed_load(server: Server, capsys: pytest.CaptureFixture[str]) -> None:
    load = Load(server=server)
    mix, cheap = mixes_of(server)
    load.ask(mix, callers=4, seconds=5.0)  # what is loaded at first use is not measured
    rate, alone = capacity(load, mix)
    assert rate > 0.0, "a lone caller is above the limit"
    asked: list[Asked] = []
    seconds, memory = 0.0, []
    for count in (EARLY, LATE, float("inf")):
        if seconds < SECONDS:
            begun = time.monotonic()
            asked += load.ask(mix, callers=MOST_CALLERS, seconds=SECONDS - seconds, up_to=count, rate=SHARE * rate)
            seconds += time.monotonic() - begun
        if count < float("inf"):
            # Where the time was too short for so many, the rest are cheap ones, as fast as they can.
            load.ask(cheap, callers=max(CALLERS), up_to=count)
            memory.append(load.memory_mb())
    with capsys.disabled():
        print(f"\n\ncapacity {rate:.0f} requests/s (a lone caller's new sheet: {1e3 * alone:.0f} ms)")
        print(f"{seconds:.0f} s at {len(asked) / seconds:.0f} requests/s, {len(asked)} of {load.answered} requests")
        print(f"memory {memory[0]:.1f} MB after {EARLY} requests, {memory[1]:.1f} MB after {LATE}")
        print("\n| request | number | median ms | p99 ms |\n| --- | --- | --- | --- |")
        for kind, times in sorted(by_kind(asked).items()):
            print(f"| {kind} | {len(times)} | {1e3 * median(times):.0f} | {1e3 * quantile(times, 0.99):.0f} |")
    assert len(asked) / seconds > 0.95 * SHARE * rate, "the service does not keep up"
    assert memory[1] <= GROWTH * memory[0]
