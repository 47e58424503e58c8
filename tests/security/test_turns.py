"""What one caller may compute, and how long others wait for it."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

import pytest
from flask import Flask
from sheetmargin.contract.answer import Answer
from sheetmargin_service.cached import cached_property
from sheetmargin_service.selection.time_limit import OutOfTime, check_time, time_limit
from sheetmargin_service.serving.turns import LIGHT_S, TooManyAtOnce, Turn, Turns
from support.answers import CountingRecommend
from support.apps import app_of
from werkzeug.test import TestResponse

JOBS, BATCH = "/v1/recommendations", "/v1/recommendations/batch"
SHEET_S = 0.4
ONE, OTHER = "192.0.2.1", "192.0.2.2"


@contextmanager
def turn_of(turns: Turns, caller: str) -> Iterator[Turn]:
    turn = Turn(turns=turns, name=lambda: caller)
    try:
        with turn.computing():
            yield turn
    finally:
        turn.end()


def work(seconds: float) -> None:
    """Take so much of a processor, in steps of some milliseconds, as a computation does."""
    done = 0.0
    while done < seconds:
        check_time()
        begun = time.thread_time()
        while (step := time.thread_time() - begun) < min(0.002, seconds - done):
            pass
        done += step


def test_who_has_computed_least_goes_first() -> None:
    turns, ended = Turns(), []
    begun = threading.Event()

    def compute(caller: str, seconds: float) -> None:
        with turn_of(turns, caller):
            check_time()
            begun.set()
            work(seconds)
        ended.append(caller)

    with ThreadPoolExecutor(8) as pool:
        pool.submit(compute, "heavy", 1.0)
        assert begun.wait(10.0)
        for caller in ("heavy", "heavy", "light 1", "light 2", "light 3"):
            pool.submit(compute, caller, 0.02)
    assert set(ended[:3]) == {"light 1", "light 2", "light 3"}


def test_who_has_asked_nothing_for_long_keeps_others_waiting_no_longer_than_a_moment() -> None:
    """One computes all the time; one who comes then with much to compute has at most half of it, but for a moment."""
    turns, ends = Turns(), threading.Event()
    longest: list[float] = []

    def compute(caller: str, pieces: int, each_s: float) -> None:
        for _ in range(pieces):
            begun = time.monotonic()
            with turn_of(turns, caller):
                check_time()
                work(each_s)
            if caller == "steady" and ends.is_set():
                longest.append(time.monotonic() - begun)

    compute("steady", 30, 0.1)
    with ThreadPoolExecutor(2) as pool:
        steady = pool.submit(compute, "steady", 10, 0.1)
        time.sleep(0.2)
        ends.set()
        heavy = pool.submit(compute, "heavy", 1, 4.0)
        steady.result(timeout=60.0)
        assert not heavy.done()
        heavy.result(timeout=60.0)
    assert longest
    # In seconds of a processor it is 0.5 and twice 0.1; the machine may be busy.
    assert max(longest) < 2.5, longest


def test_a_long_list_keeps_a_quarter_beside_who_asks_for_sheets_all_the_time() -> None:
    """A sheet is always there that waits; what the list has had is looked at while it does not compute."""
    turns, heavy, ends = Turns(), threading.Event(), threading.Event()
    of_list: list[float] = []
    with turn_of(turns, "list") as listed:

        def long_list() -> None:
            with listed.computing():
                work(LIGHT_S)
                heavy.set()
                while not ends.is_set():
                    work(0.01)

        def sheets() -> None:
            for _ in range(4):
                with turn_of(turns, "sheets"):
                    check_time()
                    of_list.append(listed.used_s)
                    work(SHEET_S)

        with ThreadPoolExecutor(3) as pool:
            lists = pool.submit(long_list)
            assert heavy.wait(30.0)
            for asked in [pool.submit(sheets) for _ in range(2)]:
                asked.result(timeout=60.0)
            ends.set()
            lists.result(timeout=60.0)
    assert len(of_list) == 8
    beside = of_list[-1] - of_list[0]
    assert 0.15 < beside / (beside + 7 * SHEET_S) < 0.35, of_list


def test_short_ones_of_a_caller_go_one_after_another() -> None:
    """Each alike: turn by turn all would end at the end."""
    turns, began, ended = Turns(), [], []

    def compute(number: int) -> None:
        def name() -> str:
            began.append(number)
            return "one"

        turn = Turn(turns=turns, name=name)
        with turn.computing():
            work(0.15)
            ended.append((number, time.monotonic()))
        turn.end()

    with ThreadPoolExecutor(4) as pool:
        since = time.monotonic()
        for number in range(4):
            pool.submit(compute, number)
    assert [number for number, _ in ended] == began
    assert ended[0][1] - since < 0.6 * (ended[-1][1] - since)


def test_one_at_a_time_computes_and_others_do_while_one_sends() -> None:
    turns, inside, most = Turns(), [], []

    def compute(caller: str) -> None:
        with turn_of(turns, caller) as turn:
            for _ in range(20):
                check_time()
                inside.append(caller)
                most.append(len(inside))
                time.sleep(0.001)
                inside.remove(caller)
                turns.pause(turn)

    with ThreadPoolExecutor(4) as pool:
        for number in range(4):
            pool.submit(compute, str(number))
    assert (len(most), max(most)) == (80, 1)


def test_waiting_ends_with_the_time_of_the_job() -> None:
    turns = Turns()
    with turn_of(turns, "one"), ThreadPoolExecutor(1) as pool:
        check_time()

        def late() -> None:
            with turn_of(turns, "other"), time_limit(0.05):
                check_time()

        with pytest.raises(OutOfTime):
            pool.submit(late).result(timeout=10.0)
    with turn_of(turns, "third"):
        check_time()


def test_one_waits_where_there_is_no_limit_of_time() -> None:
    turns, waits = Turns(), threading.Event()

    def endless() -> bool:
        with turn_of(turns, "other"), time_limit(math.inf):
            waits.set()
            check_time()
            return True

    with ThreadPoolExecutor(1) as pool:
        with turn_of(turns, "one"):
            check_time()
            other = pool.submit(endless)
            assert waits.wait(10.0)
            time.sleep(0.05)
        assert other.result(timeout=10.0)


def test_an_answer_that_nobody_reads_holds_no_turn() -> None:
    """It is streamed, and was begun in this thread: neither what is computed here later nor another caller waits."""
    client = app_of(recommend=CountingRecommend()).test_client()
    unread = client.post(BATCH, json=[job()])
    check_time()
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(client.post, JOBS, json=job()).result(timeout=10.0).status_code == 200
    assert len(unread.get_json(force=True)) == 1


class Lazy:
    @cached_property
    def value(self) -> int:
        work(0.05)
        return 1


def test_who_lets_another_go_first_holds_nothing_that_it_needs() -> None:
    """Two computations of the same kind, in turns, each in the middle of what is computed once."""
    turns = Turns()

    def compute(caller: str) -> int:
        with turn_of(turns, caller), time_limit(20.0):
            found = 0
            for _ in range(20):
                work(0.005)
                found += Lazy().value
            return found

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(compute, ("one", "other"), timeout=60.0)) == [20, 20]


def test_so_many_of_a_caller_are_under_way() -> None:
    turns = Turns(at_once=1)

    def begin(caller: str) -> None:
        with turn_of(turns, caller), time_limit(0.05):
            check_time()

    with turn_of(turns, "one") as turn, ThreadPoolExecutor(1) as pool:
        check_time()
        turns.pause(turn)
        with pytest.raises(TooManyAtOnce):
            pool.submit(begin, "one").result(timeout=10.0)
        pool.submit(begin, "other").result(timeout=10.0)
    begin("one")


def ask(app: Flask, path: str, body: Any, address: str = ONE) -> TestResponse:
    return app.test_client().post(path, json=body, buffered=True, environ_overrides={"REMOTE_ADDR": address})


def job(number: int = 0) -> dict[str, Any]:
    return {"sheets": [{"material": "copy-paper", "grammage_gsm": 80 + number}]}


@pytest.mark.parametrize(("path", "body"), [(JOBS, job()), (BATCH, [job(number) for number in range(4)])])
def test_seconds_are_counted_by_who_asks(path: str, body: Any) -> None:
    def slow(asked: Any, **how: Any) -> Answer:
        work(0.3)
        return CountingRecommend()(asked, **how)

    app = app_of(seconds_per_address="1/minute", recommend=slow)
    statuses = [ask(app, path, body).status_code for _ in range(6)]
    assert statuses[0] == 200
    refused = statuses.index(429)
    assert 1 <= refused <= 4
    assert set(statuses[refused:]) == {429}
    assert ask(app, path, body, OTHER).status_code == 200
    problem = ask(app, path, body).get_json()
    assert problem["errors"][0]["expected"] == "1/minute"
    assert "seconds" in problem["detail"]


def held(path: str, body: Any, **settings: Any) -> tuple[int, int, int]:
    """Statuses of a caller's second question while its first is computed, of another's, and of its first."""
    begun, go_on = threading.Event(), threading.Event()

    def wait(asked: Any, **how: Any) -> Answer:
        check_time()
        if asked.sheets[0].grammage_gsm == 80:
            begun.set()
            while not go_on.is_set():
                work(0.001)
        return CountingRecommend()(asked, **how)

    app = app_of(recommend=wait, **settings)
    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(ask, app, path, body)
        try:
            assert begun.wait(30.0)
            light = [job(5)] if path == BATCH else job(5)
            second, other = (ask(app, path, light, address).status_code for address in (ONE, OTHER))
        finally:
            go_on.set()
        return second, other, first.result(timeout=30.0).status_code


@pytest.mark.parametrize(("path", "body"), [(JOBS, job()), (BATCH, [job()])])
def test_at_once(path: str, body: Any) -> None:
    assert held(path, body, at_once=1) == (429, 200, 200)
    assert held(path, body) == (200, 200, 200)


def test_a_batch_has_so_much_time_in_all() -> None:
    def endless_from_the_third_on(asked: Any, **how: Any) -> Answer:
        if asked.sheets[0].grammage_gsm >= 82:
            work(math.inf)
        return CountingRecommend()(asked, **how)

    app = app_of(batch_time_limit_s=2.0, recommend=endless_from_the_third_on)
    items = ask(app, BATCH, [job(number) for number in range(8)]).get_json()
    assert ["result" in item for item in items] == [True, True, *[False] * 6]
    assert {item["problem"]["status"] for item in items[2:]} == {503}
