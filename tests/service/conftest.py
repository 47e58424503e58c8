"""Fixtures of the service's tests."""

from __future__ import annotations

from dataclasses import replace

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis.internal.conjecture import providers
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from support.answers import CountingRecommend
from support.apps import forget_answers

NO_CONSTANTS = type(providers.GLOBAL_CONSTANTS)()


@pytest.fixture(autouse=True)
def drawn_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is drawn is the same whichever tests ran before in this process.

    Hypothesis also draws constants of the modules that are loaded; it has no setting against it.
    """
    monkeypatch.setattr(providers, "_get_local_constants", lambda: NO_CONSTANTS)
    providers.CONSTANTS_CACHE.cache.clear()


@pytest.fixture(scope="session")
def stand_in() -> tuple[Flask, CountingRecommend]:
    """The application with a stand-in for the physics, and the stand-in."""
    recommend = CountingRecommend()
    return create_app(service=replace(load_service(Settings()), recommend=recommend)), recommend


@pytest.fixture
def recommend(stand_in: tuple[Flask, CountingRecommend]) -> CountingRecommend:
    """The stand-in for the physics behind `api`; `calls` tells what it was asked in this test."""
    stand_in[1].calls.clear()
    forget_answers(stand_in[0])
    return stand_in[1]


@pytest.fixture
def api(stand_in: tuple[Flask, CountingRecommend]) -> FlaskClient:
    """A client of the application with a stand-in for the physics."""
    return stand_in[0].test_client()


@pytest.fixture(scope="session")
def real_api() -> FlaskClient:
    """A client of the whole application."""
    return create_app(Settings()).test_client()
