"""How long to wait before asking again."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from sheetmargin.retry import BASE_S, CAP_S, backoff_s, retry_after_s

NOON = datetime(2015, 10, 21, 12, 0, 0, tzinfo=UTC)


@pytest.mark.parametrize("attempt", range(12))
def test_backoff_grows_up_to_a_cap_and_is_jittered(attempt: int) -> None:
    waits = [backoff_s(attempt) for _ in range(300)]
    longest = min(CAP_S, BASE_S * 2**attempt)
    assert all(0 <= wait <= longest for wait in waits)
    # 300 draws all within the lower 90 % have a chance of 2e-14.
    assert max(waits) > 0.9 * longest
    assert min(waits) < 0.1 * longest


def test_a_wait_asked_for_is_never_shortened() -> None:
    assert all(7 <= backoff_s(0, retry_after_s=7) <= 7 + BASE_S for _ in range(100))


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("0", 0),
        ("120", 120),
        (" 5 ", 5),
        ("Wed, 21 Oct 2015 12:01:30 GMT", 90),
        ("Wednesday, 21-Oct-15 12:01:30 GMT", 90),
        ("Wed, 21 Oct 2015 11:00:00 GMT", 0),
        (None, None),
        ("", None),
        ("soon", None),
        ("-5", None),
        ("1.5", None),
        ("٣", None),
    ],
)
def test_retry_after_header(header: str | None, expected: float | None) -> None:
    assert retry_after_s(header, now=NOON) == expected
