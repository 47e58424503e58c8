"""Answers that a process keeps: the same bytes, never to somebody who may not have them, and never too many."""

from __future__ import annotations

import json
import logging
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from sheetmargin_service.api import caching
from sheetmargin_service.api.keys import new_key
from sheetmargin_service.api.response_cache import Kept, KeptAnswers
from sheetmargin_service.api.service import Service
from sheetmargin_service.app import load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.serving.logs import ACCESS, JsonFormatter
from support.answers import CountingRecommend
from support.apps import app_of

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
ORIGIN = "https://shop.example"


@pytest.fixture
def physics() -> CountingRecommend:
    return CountingRecommend()


@pytest.fixture
def app(physics: CountingRecommend) -> Flask:
    return app_of(recommend=physics, origins=(ORIGIN,))


def names_and_texts(response: Any) -> list[tuple[str, str]]:
    return sorted((name, text) for name, text in response.headers if name != "X-Request-Id")


def test_the_same_answer_again(app: Flask, physics: CountingRecommend) -> None:
    client = app.test_client()
    first, again = (client.get(QUERY, buffered=True, headers={"X-Request-Id": name}) for name in ("one", "two"))
    assert again.data == first.data
    assert names_and_texts(again) == names_and_texts(first)
    assert [first.headers["X-Request-Id"], again.headers["X-Request-Id"]] == ["one", "two"]
    head = client.head(QUERY, buffered=True)
    assert (head.data, names_and_texts(head)) == (b"", names_and_texts(first))
    assert len(physics.calls) == 1


def test_each_request_has_a_name_of_its_own(app: Flask) -> None:
    client = app.test_client()
    names = [client.get(QUERY, headers={"X-Request-Id": "no name!"}).headers["X-Request-Id"] for _ in range(3)]
    assert len(set(names)) == 3
    assert all(len(name) == 32 for name in names)


@pytest.mark.parametrize(
    ("url", "headers"),
    [
        (QUERY + ".5", {}),
        (QUERY + "&limit=3", {}),
        (QUERY, {"Accept-Language": "de"}),
        (QUERY, {"Host": "127.0.0.1"}),
    ],
)
def test_another_resolved_job_is_answered_anew(
    app: Flask, physics: CountingRecommend, url: str, headers: dict[str, str]
) -> None:
    client = app.test_client()
    client.get(QUERY)
    client.get(url, headers=headers)
    assert len(physics.calls) == 2


def test_what_is_wrong_stays_wrong(app: Flask) -> None:
    client = app.test_client()
    assert client.get(QUERY).status_code == 200
    assert [client.get(f"{QUERY}&nonsense=1").status_code for _ in range(2)] == [422, 422]
    assert client.get(QUERY, headers={"Accept": "text/html"}).status_code == 406
    assert client.post(QUERY, data="{}").status_code == 422


def test_a_listed_origin_may_read_what_another_caller_asked_before(app: Flask, physics: CountingRecommend) -> None:
    client = app.test_client()
    for _ in range(2):
        assert "Access-Control-Allow-Origin" not in client.get(QUERY).headers
        assert client.get(QUERY, headers={"Origin": ORIGIN}).headers["Access-Control-Allow-Origin"] == ORIGIN
    assert len(physics.calls) == 1


def test_a_tag_that_is_held_is_told_so(app: Flask, physics: CountingRecommend) -> None:
    client = app.test_client()
    tag = client.get(QUERY).headers["ETag"]
    client.get(QUERY)
    for sent in (tag, f"W/{tag}", "*", f'"0", {tag}'):
        held = client.get(QUERY, headers={"If-None-Match": sent})
        assert (held.status_code, held.data, held.headers["ETag"]) == (304, b"", tag)
        assert (held.headers["Cache-Control"], held.headers["Vary"]) == (
            "public, max-age=300",
            "Origin, Accept-Language",
        )
    assert client.get(QUERY, headers={"If-None-Match": '"0123"'}).status_code == 200
    assert len(physics.calls) == 1


def test_other_catalogues_answer_anew(app: Flask, physics: CountingRecommend) -> None:
    client = app.test_client()
    client.get(QUERY)
    service: Service = app.extensions["sheetmargin"]
    app.extensions["sheetmargin"] = replace(service, model_version="another")
    assert client.get(QUERY).status_code == 200
    assert len(physics.calls) == 2


def test_the_log_has_both(app: Flask, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    client = app.test_client()
    trace = {"traceparent": f"00-{'1' * 32}-{'2' * 16}-01", "X-Request-Id": "n"}
    for _ in range(2):
        client.get(QUERY + "&label=secret", buffered=True, headers=trace)
    made, kept = (json.loads(JsonFormatter().format(one)) for one in caplog.records if one.name == ACCESS)
    own = {"time", "seconds", "span_id"}
    assert {k: v for k, v in made.items() if k not in own} == {k: v for k, v in kept.items() if k not in own}
    assert made["span_id"] != kept["span_id"]
    assert kept["seconds"] > 0.0
    assert "secret" not in json.dumps(kept)


def test_a_key_is_asked_for_every_time(tmp_path: Path, physics: CountingRecommend) -> None:
    token, entry = new_key("quoting", ("recommend",), ())
    (tmp_path / "keys.toml").write_text(entry)
    app = app_of(recommend=physics, access="keys", keys_file=tmp_path / "keys.toml")
    client, bearer = app.test_client(), {"Authorization": f"Bearer {token}"}
    answers = [client.get(QUERY, headers=bearer) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert {answer.headers["Cache-Control"] for answer in answers} == {"private, max-age=300"}
    assert len(physics.calls) == 1
    assert client.get(QUERY).status_code == 401
    assert client.get(QUERY, headers={"Authorization": "Bearer quoting.wrong"}).status_code == 401


def kept(service: Service, size: int) -> Kept:
    return Kept(service=service, body=b"x" * size, headers=(), etag="t")


def test_the_oldest_make_room() -> None:
    service = load_service(Settings())
    one = kept(service, 1000)
    answers = KeptAnswers(most_bytes=3 * one.size)
    for name in "abc":
        answers.put((name,), one)
    assert answers.get(("a",), service) is one
    answers.put(("d",), one)
    assert [name for name in "abcd" if answers.get((name,), service)] == ["a", "c", "d"]
    assert answers.bytes == 3 * one.size
    # Put again it takes its room once; what fits nowhere is not kept.
    answers.put(("d",), one)
    assert answers.bytes == 3 * one.size
    answers.put(("e",), kept(service, 10_000))
    assert (len(answers), answers.bytes) == (0, 0)


def test_questions_without_end_take_no_more_room(physics: CountingRecommend) -> None:
    app = app_of(recommend=physics)
    client = app.test_client()
    store: KeptAnswers = app.extensions[caching.EXTENSION]
    store.most_bytes = 50_000
    for number in range(40):
        client.get(f"{QUERY}&label={number}")
    assert 3 <= len(store) < 40
    assert store.bytes <= 50_000
