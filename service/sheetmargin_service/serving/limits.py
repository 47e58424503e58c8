"""How often one caller may ask. The only module that knows Flask-Limiter.

A request with a secret key that has passed before counts against that key. Every other one counts against its address,
so that guessing keys is slow; one with a publishable key counts against both.
"""

from __future__ import annotations

import ipaddress
import logging
import math
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

from flask import Flask, Response, g, request
from flask_limiter import ApplicationLimit, Limiter, RequestLimit
from limits import parse_many
from limits.storage import MemoryStorage
from werkzeug.middleware.proxy_fix import ProxyFix

from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem, problem_response
from sheetmargin_service.api.routes import known_key
from sheetmargin_service.config import Settings
from sheetmargin_service.errors import Filled
from sheetmargin_service.serving.metrics import current_metrics

UNCOUNTED = ("/livez", "/metrics")
"""Asked often and from one address, by whoever runs the service, and cheap."""

WRONG_KEYS = "30/minute"
"""Of one address, whatever the settings say: each costs a slow hash (a choice)."""

REDIS_TIMEOUT_S = 0.25
"""In one network Redis answers within a millisecond or so; while it does not, a worker counts by itself."""

KEY_PREFIX = "sheetmargin"
IN_SECONDS = ", in seconds of a processor"
JUMP_S = 2.0
"""A clock that has moved by more against the monotonic one was set. Slewing is at most 0.5 ms a second (adjtime)."""

log = logging.getLogger(__name__)


def install_limits(app: Flask, settings: Settings) -> None:
    """Refuse requests above the rates of the settings with 429 and Retry-After."""
    if settings.proxies:
        trusted = ProxyFix(app.wsgi_app, x_for=settings.proxies, x_proto=settings.proxies, x_host=settings.proxies)
        app.wsgi_app = trusted  # type: ignore[method-assign]
    limits: list[str | Callable[[], str] | ApplicationLimit] = []
    if settings.rate_per_address:
        limits.append(_limit("address", settings.rate_per_address, _address, exempt=_has_secret_key))
    if settings.rate_per_key:
        limits.append(_limit("key", settings.rate_per_key, _key_id, exempt=lambda: known_key() is None))
    computing = []
    for name, rate, key, exempt in (
        ("address", settings.seconds_per_address, _address, _has_secret_key),
        ("key", settings.seconds_per_key, _key_id, lambda: known_key() is None),
    ):
        if rate:
            computing.append((name, _in_ms(rate), key, exempt))
            counted = _limit(f"{name}{IN_SECONDS}", rate, key, exempt=exempt, counts=lambda _: False)
            limits.append(replace(counted, limit_provider=_in_ms(rate)))
    if settings.access == "keys":
        limits.append(_limit("wrong key", WRONG_KEYS, _address, exempt=_tries_no_key, counts=_was_wrong_key))
    if not limits:
        return
    limiter = Limiter(
        _address,
        application_limits=limits,
        storage_uri=settings.redis_url or "memory://",
        storage_options=_timeouts(settings.redis_url),  # type: ignore[arg-type]
        in_memory_fallback_enabled=settings.redis_url is not None,
        # Of several threads that lose Redis at once the fallback serves the first; the others go on uncounted.
        swallow_errors=settings.redis_url is not None,
        key_prefix=KEY_PREFIX,
        # A path that leads nowhere counts, too.
        request_identifier=lambda: request.endpoint or "none",
    )
    watch = _Clock()

    def forget_after_jump() -> None:
        # Counts in memory end by the wall clock; set back, it would hold callers off for as long as it was set back.
        storage = limiter.limiter.storage
        if watch.has_jumped() and isinstance(storage, MemoryStorage):
            log.warning("the clock was set: requests are counted from nothing")
            storage.reset()

    app.before_request(forget_after_jump)
    limiter.init_app(app)
    limiter.request_filter(lambda: request.path in UNCOUNTED or request.method == "OPTIONS")

    def count_seconds(response: Response) -> Response:
        """Once the answer is sent: a batch is computed while it is."""
        counted = [
            (item, (KEY_PREFIX, key(), f"{name}{IN_SECONDS}"))
            for name, rate, key, exempt in computing
            if not exempt()
            for item in parse_many(rate)
        ]
        begun_s = time.thread_time() if "begun_thread_s" not in g else g.begun_thread_s

        def count() -> None:
            spent_ms = round(1e3 * (time.thread_time() - begun_s))
            with suppress(Exception):  # a Redis that is away is told of where requests are counted
                for item, names in counted:
                    limiter.limiter.hit(item, *names, cost=spent_ms)

        response.call_on_close(count)
        return response

    told_of = [item for rate in (settings.rate_per_address, settings.rate_per_key) if rate for item in parse_many(rate)]

    def tell_rates(response: Response) -> Response:
        """What is left, as of draft-ietf-httpapi-ratelimit-headers-10: a policy is named by its rate."""
        told = [one for one in limiter.current_limits if one.limit in told_of]
        if told:
            names = [f'"{one.limit.amount}-per-{one.limit.get_expiry()}s"' for one in told]
            left = [(max(0, one.remaining), max(0, math.ceil(one.reset_at - time.time()))) for one in told]
            response.headers["RateLimit-Policy"] = ", ".join(
                f"{name};q={one.limit.amount};w={one.limit.get_expiry()}" for name, one in zip(names, told, strict=True)
            )
            response.headers["RateLimit"] = ", ".join(
                f"{name};r={rest};t={wait_s}" for name, (rest, wait_s) in zip(names, left, strict=True)
            )
        return response

    if told_of:
        app.after_request(tell_rates)
    if computing:
        app.before_request(lambda: setattr(g, "begun_thread_s", time.thread_time()))
        app.after_request(count_seconds)


def _in_ms(rate: str) -> str:
    """A rate of seconds as one of whole milliseconds."""
    return ";".join(str(type(item)(1000 * item.amount, item.multiples)) for item in parse_many(rate))


class _Clock:
    """Tells once whether the wall clock was set."""

    def __init__(self) -> None:
        self._offset_s = time.time() - time.monotonic()

    def has_jumped(self) -> bool:
        offset_s = time.time() - time.monotonic()
        jumped = abs(offset_s - self._offset_s) > JUMP_S
        self._offset_s = offset_s
        return jumped


def _limit(
    name: str,
    rate: str,
    key: Callable[[], str],
    *,
    exempt: Callable[[], bool],
    counts: Callable[[Response], bool] | None = None,
) -> ApplicationLimit:
    def refuse(limit: RequestLimit) -> Response:
        current_metrics().refused.labels(name).inc()
        # The time of reset is a whole second: rounding must not make the wait longer than the window.
        wait_s = min(max(1, math.ceil(limit.reset_at - time.time())), limit.limit.get_expiry())
        fault = Fault(code="rate", detail=Filled("Too many requests with this {name}.", name=name), expected=rate)
        return problem_response(Problem("too-many-requests", fault, headers={"Retry-After": str(wait_s)}))

    return ApplicationLimit(
        rate, key_function=key, scope=name, exempt_when=exempt, on_breach=refuse, deduct_when=counts
    )


def _address() -> str:
    """The caller's address; of IPv6 its first 64 bits, which are one network (RFC 4291, section 2.5.4), but for an IPv4
    address within it (section 2.5.5.2)."""
    text = request.remote_addr or "unknown"
    try:
        address = ipaddress.ip_address(text)
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv4Address):
        return text
    return str(address.ipv4_mapped or ipaddress.ip_network((address, 64), strict=False))


def caller() -> str:
    """Who asks: a secret key that has passed before, or an address."""
    return f"key {_key_id()}" if _has_secret_key() else f"address {_address()}"


def _tries_no_key() -> bool:
    """Whether no new key is to be hashed: none came, or one that has passed before."""
    return known_key() is not None or ("Authorization" not in request.headers and "key" not in request.args)


def _was_wrong_key(response: Response) -> bool:
    return response.status_code == 401 and "invalid_token" in response.headers["WWW-Authenticate"]


def _has_secret_key() -> bool:
    key = known_key()
    return key is not None and not key.publishable


def _key_id() -> str:
    key = known_key()
    return key.id if key else ""


def _timeouts(redis_url: str | None) -> dict[str, float]:
    if redis_url is None:
        return {}
    return {"socket_connect_timeout": REDIS_TIMEOUT_S, "socket_timeout": REDIS_TIMEOUT_S}
