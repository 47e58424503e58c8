"""Fixtures of the client's tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import responses
from support.batches import BatchServer


@pytest.fixture
def service() -> Iterator[responses.RequestsMock]:
    """A mock of the service; every answer registered must be asked for, and nothing else reaches a network."""
    with responses.RequestsMock() as mock:
        yield mock


@pytest.fixture
def waits(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The waits between attempts, which take no time in a test."""
    seconds: list[float] = []
    monkeypatch.setattr("sheetmargin.transport.time.sleep", seconds.append)
    return seconds


@pytest.fixture
def server() -> Iterator[BatchServer]:
    """A stand-in for the batch call."""
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        one = BatchServer()
        one.install(mock)
        yield one
