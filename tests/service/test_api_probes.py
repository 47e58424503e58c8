"""Probes: alive is cheap, ready has computed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin.contract.answer import Answer
from sheetmargin_service.api.views.probes import SELF_CHECK, STORED_DB
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.principles.catalogues import reference_catalogue
from support.answers import CountingRecommend, answer_of, filled

NONE, ONE, TWO = STORED_DB


def test_alive_computes_nothing(api: FlaskClient, recommend: CountingRecommend) -> None:
    response = api.get("/livez")
    assert (response.status_code, response.get_json()) == (200, {"status": "ok"})
    assert response.headers["Cache-Control"] == "no-store"
    assert not recommend.calls


def test_ready_computes(real_api: FlaskClient) -> None:
    response = real_api.get("/readyz")
    assert (response.status_code, response.get_json()) == (200, {"status": "ok"})
    assert response.headers["Cache-Control"] == "no-store"


def test_the_stored_levels_are_those_of_the_model() -> None:
    """After a change of the model that is meant, the new levels are stored."""
    service = load_service(Settings())
    answer = service.recommend(SELF_CHECK, catalogue=reference_catalogue(), library=service.library)
    (result,) = answer.recommendations[0].sheets
    signal = result.signal
    assert (signal.no_sheet.p50, signal.single.p50, signal.double.p50) == pytest.approx(STORED_DB, abs=0.05)


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
        (answering(none=NONE, one=ONE, two=TWO), 200),
        (answering(none=NONE, one=ONE + 0.4, two=TWO - 0.4), 200),
        (answering(none=NONE + 0.6, one=ONE, two=TWO), 503),
        (answering(none=NONE, one=ONE - 0.6, two=TWO), 503),
        (answering(none=NONE, one=ONE, two=TWO + 0.6), 503),
        (answering(none=NONE, one=float("nan"), two=TWO), 503),
        (answering(none=NONE, one=ONE, two=float("inf")), 503),
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
