"""What one caller may take: so many requests, so much time, so many batches."""

from __future__ import annotations

import json
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from sheetmargin.contract.answer import Answer
from sheetmargin_service.api import keys
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.selection.time_limit import check_time
from support.answers import CountingRecommend
from support.apps import app_of
from support.stores import Redis, redis
from werkzeug.test import TestResponse

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
SHOP = "https://shop.example"
WRONG_KEYS = 30
"""That one address may try in a minute."""


def ask(app: Flask, url: str = QUERY, *, address: str = "192.0.2.1", **headers: str) -> TestResponse:
    return app.test_client().get(
        url, headers={name.replace("_", "-"): text for name, text in headers.items()}, buffered=True,
        environ_overrides={"REMOTE_ADDR": address},
    )  # fmt: skip


def statuses(app: Flask, times: int, **how: Any) -> list[int]:
    return [ask(app, **how).status_code for _ in range(times)]


def assert_limited(response: TestResponse, *, rate: str) -> None:
    """The answer is the problem of its kind, and says when to ask again."""
    assert response.status_code == 429
    assert response.content_type == "application/problem+json"
    assert 1 <= int(response.headers["Retry-After"]) <= 60
    document = response.get_json()
    assert (document["type"], document["status"]) == ("/docs/problems/too-many-requests", 429)
    assert document["errors"][0]["expected"] == rate
    assert document["request_id"] == response.headers["X-Request-Id"]
    assert response.headers["Cache-Control"] == "no-store"
    assert response.headers["Content-Security-Policy"].startswith("default-src 'none'")


def test_what_is_left_of_a_rate_is_told() -> None:
    """draft-ietf-httpapi-ratelimit-headers-10: of each policy what is left, and the seconds until it begins anew."""
    app = app_of(rate_per_address="3/minute;50/hour")
    for left in (2, 1, 0, 0):
        response = ask(app)
        policy, rates = response.headers["RateLimit-Policy"], response.headers["RateLimit"].split(", ")
        # Whoever is refused is told of the rate that refuses.
        every = {'"3-per-60s";q=3;w=60', '"50-per-3600s";q=50;w=3600'}
        assert set(policy.split(", ")) == (every if response.status_code == 200 else {'"3-per-60s";q=3;w=60'})
        found = {rate.partition(";t=")[0]: int(rate.partition(";t=")[2]) for rate in rates}
        assert 0 < found[f'"3-per-60s";r={left}'] <= 61
    assert response.status_code == 429
    assert "RateLimit" not in ask(app, "/livez").headers
    assert "RateLimit" not in ask(app_of()).headers


def test_an_address_is_limited_and_no_other() -> None:
    app = app_of(rate_per_address="3/minute")
    assert statuses(app, 3) == [200] * 3
    assert_limited(ask(app, Accept="text/html"), rate="3/minute")
    assert statuses(app, 3, address="192.0.2.2") == [200] * 3


def test_wrong_questions_count_too() -> None:
    app = app_of(rate_per_address="2/minute")
    assert statuses(app, 3, url=f"{QUERY}&nonsense=1") == [422, 422, 429]


def test_probes_are_not_limited() -> None:
    app = app_of(rate_per_address="1/minute")
    assert statuses(app, 2) == [200, 429]
    for path in ("/livez", "/metrics"):
        assert statuses(app, 3, url=path) == [200] * 3


@pytest.mark.parametrize(("path", "status"), [("/readyz", 200), ("/nowhere", 404), ("/livez/", 404)])
def test_what_costs_or_is_not_there_counts_too(path: str, status: int) -> None:
    app = app_of(rate_per_address="2/minute")
    assert statuses(app, 3, url=path) == [status, status, 429]


def test_a_preflight_costs_nothing() -> None:
    app = app_of(rate_per_address="1/minute", origins=(SHOP,))
    client = app.test_client()
    headers = {"Origin": SHOP, "Access-Control-Request-Method": "POST"}
    assert [client.options(QUERY, headers=headers).status_code for _ in range(3)] == [200] * 3
    assert client.get(QUERY).status_code == 200


def test_addresses_of_one_ipv6_network_count_together() -> None:
    app = app_of(rate_per_address="2/minute")
    first, second, other = "2001:db8:0:1::1", "2001:db8:0:1:ffff::2", "2001:db8:0:2::1"
    assert [ask(app, address=address).status_code for address in (first, second, first, other)] == [200, 200, 429, 200]


def test_ipv4_addresses_written_as_ipv6_are_those_addresses() -> None:
    """A socket of both families tells them so (RFC 4291, section 2.5.5.2)."""
    app = app_of(rate_per_address="2/minute")
    first, second = "::ffff:192.0.2.1", "::ffff:192.0.2.2"
    assert [ask(app, address=address).status_code for address in (first, first, second, second)] == [200] * 4
    assert ask(app, address="192.0.2.1").status_code == 429


def test_without_rates_nothing_is_limited() -> None:
    assert set(statuses(app_of(), 50)) == {200}


@pytest.mark.parametrize(
    ("proxies", "forwarded", "limited"),
    [
        (0, ["198.51.100.1", "198.51.100.2"], True),  # nobody in front: the header is the caller's own invention
        (1, ["198.51.100.1", "198.51.100.2"], False),
        (1, ["203.0.113.9, 198.51.100.1", "203.0.113.7, 198.51.100.1"], True),  # only the proxy's own entry counts
    ],
)
def test_whose_address(proxies: int, forwarded: list[str], limited: bool) -> None:
    app = app_of(rate_per_address="1/minute", proxies=proxies)
    found = [ask(app, X_Forwarded_For=text).status_code for text in forwarded]
    assert found == [200, 429 if limited else 200]


@pytest.fixture
def tokens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    monkeypatch.setattr(keys, "SCRYPT_N", 2**4)
    made = {
        "quoting": keys.new_key("quoting", ("recommend",)),
        "other": keys.new_key("other", ("recommend",)),
        "shop": keys.new_key("shop", ("recommend",), (SHOP,)),
    }
    (tmp_path / "keys.toml").write_text("".join(entry for _, entry in made.values()))
    return {name: token for name, (token, _) in made.items()}


def keyed(folder: Path, **settings: Any) -> Flask:
    return app_of(access="keys", keys_file=folder / "keys.toml", **settings)


def test_a_secret_key_counts_by_itself_wherever_it_comes_from(tmp_path: Path, tokens: dict[str, str]) -> None:
    app = keyed(tmp_path, rate_per_key="4/minute", rate_per_address="2/minute")
    bearer = {"Authorization": f"Bearer {tokens['quoting']}"}
    # The first request of a key is known only once it has passed: it counts against the address.
    assert statuses(app, 5, **bearer) == [200] * 5
    assert_limited(ask(app, **bearer), rate="4/minute")
    assert ask(app, address="192.0.2.9", **bearer).status_code == 429
    assert ask(app, Authorization=f"Bearer {tokens['other']}").status_code == 200


def test_a_publishable_key_counts_by_its_visitors_too(tmp_path: Path, tokens: dict[str, str]) -> None:
    app = keyed(tmp_path, rate_per_key="5/minute", rate_per_address="2/minute")
    url = f"{QUERY}&key={tokens['shop']}"
    visitors = [f"192.0.2.{number}" for number in (1, 1, 1, 2, 2, 3, 4, 5)]
    found = [ask(app, url, address=address, Origin=SHOP).status_code for address in visitors]
    assert found == [200, 200, 429, 200, 200, 200, 200, 429] or found == [200, 200, 429, 200, 200, 200, 429, 429]


def test_guessing_keys_is_limited_by_address(tmp_path: Path, tokens: dict[str, str]) -> None:
    app = keyed(tmp_path, rate_per_key="100/minute", rate_per_address="3/minute")
    guesses = [ask(app, Authorization=f"Bearer quoting.{number}").status_code for number in range(5)]
    assert guesses == [401, 401, 401, 429, 429]
    # The owner of the key is not held off by it.
    assert ask(app, address="192.0.2.9", Authorization=f"Bearer {tokens['quoting']}").status_code == 200


def test_wrong_keys_are_rated_without_a_word(tmp_path: Path, tokens: dict[str, str]) -> None:
    """Each costs a hash that is meant to be slow. Who has passed already, or gives no key, is not held off by it."""
    app = keyed(tmp_path)
    right = {"Authorization": f"Bearer {tokens['quoting']}"}
    assert ask(app, **right).status_code == 200
    assert statuses(app, 40) == [401] * 40
    guesses = [ask(app, Authorization=f"Bearer quoting.{number}").status_code for number in range(40)]
    assert guesses == [401] * WRONG_KEYS + [429] * (40 - WRONG_KEYS)
    assert [ask(app).status_code, ask(app, "/readyz").status_code] == [401, 200]
    assert ask(app, **right).status_code == 200
    assert ask(app, address="192.0.2.9", Authorization="Bearer quoting.x").status_code == 401


def test_the_refusal_of_a_page_can_be_read_by_it() -> None:
    app = app_of(rate_per_address="1/minute", origins=(SHOP,))
    ask(app, Origin=SHOP)
    response = ask(app, Origin=SHOP)
    assert response.status_code == 429
    assert response.headers["Access-Control-Allow-Origin"] == SHOP
    assert "Retry-After" in response.headers["Access-Control-Expose-Headers"]


@pytest.mark.parametrize("jump_s", [-7200.0, 7200.0])
def test_a_clock_that_is_set_holds_nobody_off(monkeypatch: pytest.MonkeyPatch, jump_s: float) -> None:
    """Counts in memory end by the wall clock: set back by two hours they would last two hours."""
    app = app_of(rate_per_address="2/minute")
    assert statuses(app, 3) == [200, 200, 429]
    now = time.time
    monkeypatch.setattr(time, "time", lambda: now() + jump_s)
    assert statuses(app, 3) == [200, 200, 429]


@pytest.fixture
def store(require_part: Callable[[str], str], tmp_path: Path) -> Iterator[Redis]:
    with redis(require_part("redis"), tmp_path) as running:
        yield running


def test_replicas_count_together_in_redis(store: Redis) -> None:
    one, two = (app_of(rate_per_address="4/minute", redis_url=store.url) for _ in range(2))
    assert [ask(app).status_code for app in (one, two, one, two, one, two)] == [200] * 4 + [429] * 2


def test_without_redis_the_service_goes_on_and_still_limits(store: Redis) -> None:
    app = app_of(rate_per_address="3/minute", redis_url=store.url)
    assert statuses(app, 2) == [200] * 2
    store.stop()
    assert statuses(app, 4) == [200, 200, 200, 429]
    store.start()
    ends = time.monotonic() + 30.0
    while b"1" not in (found := _keys_in(store)):
        ask(app, address="192.0.2.77")
        assert time.monotonic() < ends, f"redis is back and not used: {found!r}"
        time.sleep(0.05)


@contextmanager
def standing_still(store: Redis) -> Iterator[None]:
    assert store.process is not None
    os.kill(store.process.pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(store.process.pid, signal.SIGCONT)


def test_several_threads_that_lose_redis_at_once(store: Redis) -> None:
    app = app_of(rate_per_address="1000/minute", redis_url=store.url)
    assert ask(app).status_code == 200
    with standing_still(store), ThreadPoolExecutor(8) as threads:
        assert list(threads.map(lambda _: ask(app).status_code, range(8))) == [200] * 8


def _keys_in(store: Redis) -> bytes:
    with socket.create_connection(("127.0.0.1", store.port), timeout=5.0) as connection:
        connection.sendall(b"DBSIZE\r\n")
        return connection.recv(100)


def test_a_redis_that_does_not_answer_costs_little_time(store: Redis) -> None:
    app = app_of(rate_per_address="300/minute", redis_url=store.url)
    assert ask(app).status_code == 200
    with standing_still(store):
        begun = time.monotonic()
        assert statuses(app, 20) == [200] * 20
        assert time.monotonic() - begun < 10.0


def test_a_service_starts_without_its_redis() -> None:
    app = app_of(rate_per_address="2/minute", redis_url="redis://127.0.0.1:1/0")
    assert statuses(app, 3) == [200, 200, 429]


def slow(*_: Any, **__: Any) -> Answer:
    """Physics that would never end."""
    while True:
        check_time()
        time.sleep(0.001)


def test_a_job_that_takes_too_long_is_given_up() -> None:
    app = app_of(time_limit_s=0.05, recommend=slow)
    begun = time.monotonic()
    response = ask(app)
    assert time.monotonic() - begun < 5.0
    assert (response.status_code, response.headers["Retry-After"]) == (503, "5")
    assert response.get_json()["type"] == "/docs/problems/unavailable"
    assert 'sheetmargin_refused_total{limit="time"} 1.0' in ask(app, "/metrics").text


def test_the_time_of_the_real_physics_is_limited() -> None:
    sheets = [{"material": "copy-paper", "grammage_gsm": 60 + number} for number in range(50)]
    app = app_of(time_limit_s=0.2, recommend=recommend)
    begun = time.monotonic()
    response = app.test_client().post("/v1/recommendations", json={"sheets": sheets})
    assert response.status_code == 503
    # Between two looks at the clock lies one sheet before one class.
    assert time.monotonic() - begun < 10.0


def test_each_job_of_a_batch_has_its_own_time() -> None:
    def uneven(job: Any, **_: Any) -> Answer:
        if job.sheets[0].grammage_gsm == 81:
            return slow()
        time.sleep(0.06)
        return CountingRecommend()(job, **_)

    app = app_of(time_limit_s=0.1, recommend=uneven)
    jobs = [{"sheets": [{"material": "copy-paper", "grammage_gsm": 80 + number}]} for number in range(4)]
    items = app.test_client().post("/v1/recommendations/batch", json=jobs).get_json()
    assert [("result" in item) for item in items] == [True, False, True, True]
    assert items[1]["problem"]["status"] == 503


def test_batches_at_once() -> None:
    begun, go_on = threading.Event(), threading.Event()

    def wait(job: Any, **how: Any) -> Answer:
        begun.set()
        assert go_on.wait(timeout=30.0)
        return CountingRecommend()(job, **how)

    app = app_of(batches=1, recommend=wait)
    batch = [json.loads('{"sheets": [{"material": "copy-paper", "grammage_gsm": 80}]}')]
    answers: list[TestResponse] = []

    def send() -> None:
        answers.append(app.test_client().post("/v1/recommendations/batch", json=batch, buffered=True))

    thread = threading.Thread(target=send)
    thread.start()
    try:
        assert begun.wait(timeout=30.0)
        refused = app.test_client().post("/v1/recommendations/batch", json=batch, buffered=True)
    finally:
        go_on.set()
        thread.join()
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "5")
    assert refused.content_type == "application/problem+json"
    assert answers[0].status_code == 200
    # The place is free again, after a wrong batch as well.
    for body in ([], "no batch", batch):
        last = app.test_client().post("/v1/recommendations/batch", json=body, buffered=True)
    assert last.status_code == 200


def test_a_batch_whose_caller_goes_away_frees_its_place() -> None:
    app = app_of(batches=1)
    batch = [{"sheets": [{"material": "copy-paper", "grammage_gsm": 80 + number}]} for number in range(100)]
    for _ in range(3):
        response = app.test_client().post("/v1/recommendations/batch", json=batch)
        assert response.status_code == 200
        assert next(iter(response.response))
        response.close()
