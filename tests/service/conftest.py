"""Fixtures of the service's tests."""

from __future__ import annotations

from dataclasses import replace

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from support.answers import CountingRecommend


@pytest.fixture
def recommend() -> CountingRecommend:
    """The stand-in for the physics behind `api`."""
    return CountingRecommend()


@pytest.fixture
def api(recommend: CountingRecommend) -> FlaskClient:
    """A client of the application with a stand-in for the physics; `recommend.calls` tells what it was asked."""
    return create_app(service=replace(load_service(Settings()), recommend=recommend)).test_client()


@pytest.fixture(scope="session")
def real_api() -> FlaskClient:
    """A client of the whole application."""
    return create_app(Settings()).test_client()
