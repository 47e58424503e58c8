"""When to ask again, and after how long."""

from __future__ import annotations

import random
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

BASE_S = 0.25
CAP_S = 8.0
LONGEST_WAIT_S = 60.0
"""Chosen, no source: a user at a prompt waits at most about a minute before being told to come back later."""


def backoff_s(attempt: int, *, retry_after_s: float | None = None) -> float:
    """Seconds to wait after the failed attempt number `attempt` (from 0).

    Exponential with full jitter (M. Brooker, "Exponential backoff and jitter", AWS Architecture Blog, 2015), so that
    clients that failed together do not return together. A wait that the service asked for is kept, the jitter added.
    """
    jitter_s = random.uniform(0.0, min(CAP_S, BASE_S * 2**attempt))
    return jitter_s if retry_after_s is None else retry_after_s + jitter_s


def retry_after_s(header: str | None, *, now: datetime | None = None) -> float | None:
    """Seconds that a Retry-After header asks for: a number of seconds or an HTTP date (RFC 9110, 10.2.3).

    None for a missing or unreadable header; a date gone by is 0.
    """
    text = (header or "").strip()
    if text.isascii() and text.isdigit():
        return float(text)
    try:
        date = parsedate_to_datetime(text)
    except ValueError:
        return None
    if date.tzinfo is None:
        date = date.replace(tzinfo=UTC)
    return max(0.0, (date - (now or datetime.now(UTC))).total_seconds())
