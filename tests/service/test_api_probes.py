"""Probes: alive is cheap, ready has computed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.selection.answer import Answer
from support.answers import CountingRecommend, answer_of, filled


def test_alive_computes_nothing(api: FlaskClient, recommend: CountingRecommend) -> None:
    response = api.get("/livez")
    assert (response.status_code, response.get_json()) == (200, {"status": "ok"})
    assert response.headers["Cache-Control"] == "no-store"
    assert not recommend.calls


def test_ready_computes(real_api: FlaskClient) -> None:
    response = real_api.get("/readyz")
    assert (response.status_code, response.get_json()) == (200, {"status": "ok"})
    assert response.headers["Cache-Control"] == "no-store"


def answering(*, none: float, one: float, two: float) -> Any:
    """Physics that gives these levels."""
    return lambda *_, **__: answer_of(none=none, one=one, two=two)


def failing(*_: Any, **__: Any) -> Answer:
    raise ZeroDivisionError


def nothing(*_: Any, **__: Any) -> Answer:
    return replace(filled(Answer), recommendations=())


@pytest.mark.parametrize(
    ("recommend", "status"),
    [
        (answering(none=0.0, one=40.0, two=70.0), 200),
        (answering(none=0.0, one=40.0, two=40.0), 503),
        (answering(none=50.0, one=40.0, two=70.0), 503),
        (answering(none=0.0, one=float("nan"), two=70.0), 503),
        (answering(none=0.0, one=40.0, two=float("inf")), 503),
        (nothing, 503),
        (failing, 503),
    ],
)
def test_ready_only_with_sound_physics(recommend: Any, status: int) -> None:
    client = create_app(service=replace(load_service(Settings()), recommend=recommend)).test_client()
    response = client.get("/readyz")
    assert response.status_code == status
    if status == 503:
        assert response.headers["Retry-After"] == "5"
        assert response.get_json()["type"] == "/docs/problems/unavailable"
    assert client.get("/livez").status_code == 200
