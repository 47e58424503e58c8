"""Keys: which calls they open, for which pages, and that their check tells nothing by its time."""

from __future__ import annotations

import re
import statistics
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from sheetmargin_service.api import keys
from sheetmargin_service.api.routes import calls_of
from support.apps import app_of

SHOP = "https://shop.example"
QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"
SCOPES = ("recommend", "batch", "measure", "metrics")

WANTED = {
    "/v1/recommendations": "recommend",
    "/v1/comparisons": "recommend",
    "/v1/recommendations/batch": "batch",
    "/v1/predictions": "measure",
    "/v1/fits": "measure",
    "/v1/diagnoses": "measure",
    "/v1/setup-sheets": "recommend",
    "/v1/summaries": "recommend",
    "/v1/setup-sheets.pdf": "recommend",
    "/v1/detector-classes": "recommend",
    "/v1/catalogues": "recommend",
    "/v1/stocks": "recommend",
    "/metrics": "metrics",
}
"""The contract's scopes; every other path is open."""


@pytest.fixture
def tokens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """A token for each scope alone, and a publishable one of the shop."""
    monkeypatch.setattr(keys, "SCRYPT_N", 2**4)
    made = {scope: keys.new_key(scope, (scope,)) for scope in SCOPES}
    made["shop"] = keys.new_key("shop", ("recommend",), (SHOP,))
    (tmp_path / "keys.toml").write_text("".join(entry for _, entry in made.values()))
    return {name: token for name, (token, _) in made.items()}


@pytest.fixture
def app(tmp_path: Path, tokens: dict[str, str]) -> Flask:
    return app_of(access="keys", keys_file=tmp_path / "keys.toml", demo=True)


def every_call(app: Flask) -> list[tuple[str, str, str]]:
    """Rule, a path that fits it, and method, of everything that the application answers."""
    return [
        (str(rule), re.sub("<[^>]+>", "x", str(rule)), method)
        for rule in app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) - {"OPTIONS"})
    ]


def test_every_path_asks_for_its_scope(app: Flask) -> None:
    declared = calls_of(app)
    for rule in app.url_map.iter_rules():
        assert declared[rule.endpoint].scope == WANTED.get(str(rule), "open"), rule


def test_a_key_opens_its_scope_and_no_other(app: Flask, tokens: dict[str, str]) -> None:
    client = app.test_client()
    for rule, path, method in every_call(app):
        scope = WANTED.get(rule)
        assert (client.open(path, method=method).status_code == 401) == (scope is not None), (rule, method)
        for name in SCOPES:
            status = client.open(path, method=method, headers={"Authorization": f"Bearer {tokens[name]}"}).status_code
            assert (status in (401, 403)) == (scope not in (None, name)), (rule, method, name)


def test_a_publishable_key_opens_recommend_for_its_pages_alone(app: Flask, tokens: dict[str, str]) -> None:
    client, key = app.test_client(), {"key": tokens["shop"]}
    for rule, path, method in every_call(app):
        scope = WANTED.get(rule)
        if scope is None:
            continue
        for origin in (SHOP, "https://other.example", "null", f"{SHOP}.evil.example", None):
            headers = {} if origin is None else {"Origin": origin}
            status = client.open(path, method=method, query_string=key, headers=headers).status_code
            assert (status != 403) == (scope == "recommend" and origin == SHOP), (rule, method, origin)


def test_a_secret_key_does_not_go_into_a_query(app: Flask, tokens: dict[str, str]) -> None:
    """Queries stand in logs and histories."""
    response = app.test_client().get(f"{QUERY}&key={tokens['recommend']}", headers={"Origin": SHOP})
    assert response.status_code == 401


def test_a_key_is_nowhere_in_an_answer(app: Flask, tokens: dict[str, str]) -> None:
    client = app.test_client()
    for token in (*tokens.values(), "wrong.token-that-is-none"):
        for headers, url in (
            ({"Authorization": f"Bearer {token}"}, QUERY),
            ({"Origin": SHOP}, f"{QUERY}&key={token}"),
            ({"Authorization": f"Bearer {token}"}, f"{QUERY}&nonsense=1"),
        ):
            response = client.get(url, headers=headers)
            assert token.encode() not in response.data
            assert token not in str(response.headers)


def test_no_answer_tells_a_path_of_the_machine(app: Flask, tokens: dict[str, str], tmp_path: Path) -> None:
    """Neither where the keys are, nor where the service and Python are installed; with right keys and wrong ones."""
    paths = [str(tmp_path).encode(), str(Path(keys.__file__).parents[1]).encode(), sys.prefix.encode()]
    client = app.test_client()
    for rule, path, method in every_call(app):
        for token in (None, "shop.wrong", *tokens.values()):
            headers = {} if token is None else {"Authorization": f"Bearer {token}", "Origin": SHOP}
            body = client.open(path, method=method, headers=headers).data
            assert not [told for told in paths if told in body], (rule, method, body)


def median_ms(app: Flask, tokens: list[str]) -> dict[str, float]:
    """Median time of a refused request with each token, taken in turns so that all see the same machine."""
    client = app.test_client()
    times: dict[str, list[float]] = {token: [] for token in tokens}
    for _ in range(40):
        for token in tokens:
            begun = time.thread_time()
            assert client.get(QUERY, headers={"Authorization": f"Bearer {token}"}).status_code == 401
            times[token].append(time.thread_time() - begun)
    return {token: 1e3 * statistics.median(values) for token, values in times.items()}


@pytest.mark.long
def test_the_time_of_a_refusal_tells_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither which ids exist nor how much of a secret is right. A tenth of scrypt's cost keeps the test short."""
    monkeypatch.setattr(keys, "SCRYPT_N", keys.SCRYPT_N // 8)
    token, entry = keys.new_key("shop", ("recommend",))
    (tmp_path / "keys.toml").write_text(entry)
    app = app_of(access="keys", keys_file=tmp_path / "keys.toml")
    nearly = token[:-1] + ("A" if token[-1] != "A" else "B")
    times = median_ms(app, ["nobody.secret", "shop.secret", nearly, f"shop.{'x' * 43}"])
    assert max(times.values()) < 1.25 * min(times.values()), times


@pytest.mark.parametrize("secret", ["", "x" * 100_000, "\udc80", "\0", "ä" * 50])
def test_odd_secrets_are_only_wrong(app: Flask, secret: str) -> None:
    headers: Any = {"Authorization": f"Bearer shop.{secret}".encode("utf-8", "surrogateescape").decode("latin-1")}
    assert app.test_client().get(QUERY, headers=headers).status_code == 401


def test_as_many_wrong_tokens_as_come_take_no_memory(app: Flask, tokens: dict[str, str]) -> None:
    client = app.test_client()
    for number in range(300):
        # Each from an address that has not yet had its share of wrong keys.
        address = {"REMOTE_ADDR": f"192.0.2.{number // 20}"}
        headers = {"Authorization": f"Bearer shop.{number}"}
        assert client.get(QUERY, headers=headers, environ_base=address).status_code == 401
    gate = app.extensions["sheetmargin"].gate
    assert len(gate._passed) == 0
    for _ in range(3):
        client.get(QUERY, headers={"Authorization": f"Bearer {tokens['recommend']}"})
    assert len(gate._passed) == 1
