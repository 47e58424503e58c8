"""The one place that speaks HTTP: timeouts, retries, and which error an answer becomes.

Asking again is safe for every call, POST included: the service computes and stores nothing.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import requests
from requests.adapters import BaseAdapter

from sheetmargin.contract.problem import Fault
from sheetmargin.decode import decode
from sheetmargin.errors import (
    ConnectionFailed,
    IncompleteAnswer,
    InvalidJob,
    NotAuthorised,
    ServiceUnavailable,
    SheetmarginError,
    TooManyRequests,
    UnexpectedAnswer,
)
from sheetmargin.retry import LONGEST_WAIT_S, backoff_s, retry_after_s

Parameters = Mapping[str, str | int | float | Sequence[str] | None]

log = logging.getLogger("sheetmargin")

JSON = "application/json"
LINES = "application/x-ndjson"

RETRIED_STATUSES = (429, 502, 503)
"""Busy, or a proxy whose server broke off: what was asked is computed anew without harm."""

TIME_LIMIT = "time-limit"
"""Of a question that the service gave up: asked again it would take as long."""

ERRORS: dict[int, type[SheetmarginError]] = {
    400: InvalidJob,
    401: NotAuthorised,
    403: NotAuthorised,
    413: InvalidJob,
    415: InvalidJob,
    422: InvalidJob,
    429: TooManyRequests,
}


@dataclass(frozen=True, kw_only=True)
class Reply:
    """A successful answer as it came."""

    status: int
    headers: Mapping[str, str]
    content: bytes

    def json(self) -> Any:
        """The parsed body. Raises UnexpectedAnswer where it is no JSON."""
        try:
            return json.loads(self.content)
        except ValueError as error:
            raise UnexpectedAnswer(f"The answer is no JSON: {error}.", status=self.status) from error


class Transport:
    """Sends requests to one service. Safe to share between threads as far as a `requests.Session` is."""

    def __init__(
        self,
        url: str,
        *,
        token: str | None,
        timeout_s: tuple[float, float],
        retries: int,
        language: str | None,
        adapter: BaseAdapter | None = None,
        session: requests.Session | None = None,
        proxies: Mapping[str, str] | None = None,
        ca_file: str | None = None,
    ) -> None:
        self._url, self._timeout_s, self._retries, self._token = url, timeout_s, retries, token
        # A session that was given is its owner's: nothing of it is changed, and it is not closed.
        self._session, self._own = session or requests.Session(), session is None
        self._proxies, self._ca_file = dict(proxies or {}), ca_file
        self._headers = {"Accept-Language": language} if language else {}
        if adapter:
            self._session.mount(url, adapter)

    def send(
        self,
        method: str,
        path: str,
        *,
        params: Parameters | None = None,
        body: bytes | None = None,
        headers: Mapping[str, str] | None = None,
        media_type: str = JSON,
    ) -> Reply:
        """One call, retried where that can help. Raises a SheetmarginError for anything but a success."""
        headers = request_headers(body, media_type=media_type, more=headers)
        for attempt in range(self._retries + 1):
            try:
                return self._send_once(method, path, params, body, headers)
            except SheetmarginError as error:
                wait_s = seconds_to_wait(error, attempt, retries=self._retries)
                if wait_s is None:
                    raise
                log.info("%s %s failed, asked again in %.1f s: %s", method, path, wait_s, error.message)
            time.sleep(wait_s)
        raise AssertionError("the last attempt returns or raises")

    def close(self) -> None:
        if self._own:
            self._session.close()

    def _send_once(
        self, method: str, path: str, params: Parameters | None, body: bytes | None, headers: Mapping[str, str]
    ) -> Reply:
        try:
            response = self._session.request(
                method,
                self._url + path,
                params=params,
                data=body,
                headers={**self._headers, **headers},
                # A callable, also without a token: requests would otherwise send what ~/.netrc holds for the host.
                auth=self._authorise,
                timeout=self._timeout_s,
                # A redirected POST would arrive as a GET, and the token elsewhere.
                allow_redirects=False,
                proxies=self._proxies,
                verify=self._ca_file,
            )
        except requests.RequestException as error:
            raise self._connection_failed(error) from error
        log_call(method, path, response.status_code, response.elapsed.total_seconds(), response.headers)
        received = Received(
            url=response.url,
            status=response.status_code,
            reason=response.reason or "",
            headers=response.headers,
            content=response.content,
        )
        return received.reply(accept=headers["Accept"])

    def _connection_failed(self, error: requests.RequestException) -> ConnectionFailed:
        # A slow answer is not asked for again: the service is at work on it, and a second question doubles its load.
        if isinstance(error, requests.ReadTimeout):
            return ConnectionFailed(f"{self._url} gave no answer within {self._timeout_s[1]:g} s.", transient=False)
        if isinstance(error, requests.exceptions.SSLError):
            return ConnectionFailed(f"{self._url} cannot be trusted: {error}.", transient=False)
        if isinstance(error, requests.exceptions.ChunkedEncodingError):
            return IncompleteAnswer(f"The answer of {self._url} was cut off: {error}.")
        broken = isinstance(error, requests.ConnectionError)
        return ConnectionFailed(f"{self._url} cannot be reached: {first_cause(error)}.", transient=broken)

    def _authorise(self, request: requests.PreparedRequest) -> requests.PreparedRequest:
        if self._token:
            request.headers["Authorization"] = f"Bearer {self._token}"
        return request


def request_headers(body: bytes | None, *, media_type: str, more: Mapping[str, str] | None) -> dict[str, str]:
    """What goes with a request beside language and token."""
    sent = {"Content-Type": JSON} if body is not None else {}
    return {"Accept": f"{media_type}, application/problem+json", **sent, **(more or {})}


def log_call(method: str, path: str, status: int, time_s: float, headers: Mapping[str, str]) -> None:
    log.debug("%s %s: %d in %.3f s (request %s)", method, path, status, time_s, headers.get("X-Request-Id"))


def seconds_to_wait(error: SheetmarginError, attempt: int, *, retries: int) -> float | None:
    """Seconds until the next attempt; None where there is none."""
    broken_connection = isinstance(error, ConnectionFailed) and error.transient
    if attempt >= retries or not (broken_connection or error.status in RETRIED_STATUSES):
        return None
    if any(fault.code == TIME_LIMIT for fault in error.errors):
        return None
    if error.retry_after_s is not None and error.retry_after_s > LONGEST_WAIT_S:
        return None
    return backoff_s(attempt, retry_after_s=error.retry_after_s)


@dataclass(frozen=True, kw_only=True)
class Received:
    """An answer of whatever kind, as some library of HTTP had it. Header names are found in any case."""

    url: str
    status: int
    reason: str
    headers: Mapping[str, str]
    content: bytes

    def reply(self, *, accept: str) -> Reply:
        """The answer, where it is the success that was asked for; else raises the error that it stands for."""
        if self.status != 200:
            raise self._error()
        wanted = accept.partition(",")[0].rpartition("/")[2]
        media_type = self.headers.get("Content-Type", "")
        if wanted not in media_type:
            raise UnexpectedAnswer(
                f"{self.url} answered {media_type or 'something unnamed'}, not {wanted}: "
                "is this the address of a sheetmargin service?",
                status=self.status,
            )
        if media_type.startswith(LINES) and not _ended(self.content):
            lines = self.content.count(b"\n")
            raise IncompleteAnswer(f"The answer of {self.url} was cut off after {lines} lines.")
        return Reply(status=self.status, headers=self.headers, content=self.content)

    def _error(self) -> SheetmarginError:
        """The error that an answer other than a success stands for, with all that its problem document says (RFC
        9457)."""
        kind = _kind(self.status)
        problem = self._problem()
        message = problem.message or f"{self.url} answered {self.status} {self.reason}".rstrip() + "."
        if kind is UnexpectedAnswer and "Location" in self.headers:
            message += f" It points to {self.headers['Location']}."
        return kind(
            message,
            status=self.status,
            request_id=problem.request_id or self.headers.get("X-Request-ID"),
            errors=problem.errors,
            retry_after_s=retry_after_s(self.headers.get("Retry-After")),
        )

    def _problem(self) -> _Problem:
        """The problem document, or an empty one: a proxy in between answers in HTML."""
        try:
            return decode(_Problem, json.loads(self.content))
        except (ValueError, UnexpectedAnswer):
            return _Problem()


def _ended(lines: bytes) -> bool:
    """Whether the last of several lines is there: the one that says that there are no more."""
    return lines.endswith(b"\n") and lines[:-1].rpartition(b"\n")[2].startswith(b'{"end"')


def problem_error(document: object) -> SheetmarginError:
    """The error that a problem document within an answer stands for."""
    problem = decode(_Problem, document)
    status = problem.status or 500
    message = problem.message or f"The service answered {status}."
    return _kind(status)(message, status=status, request_id=problem.request_id, errors=problem.errors)


def _kind(status: int) -> type[SheetmarginError]:
    return ERRORS.get(status, ServiceUnavailable if status >= 500 else UnexpectedAnswer)


@dataclass(frozen=True, kw_only=True)
class _Problem:
    title: str | None = None
    status: int | None = None
    detail: str | None = None
    request_id: str | None = None
    errors: Sequence[Fault] = ()

    @property
    def message(self) -> str | None:
        """A problem with errors has their gist as its detail; the errors themselves follow the message."""
        return self.title if self.errors else self.detail


def first_cause(error: BaseException) -> str:
    """What the system said below all that was made of it; else the error's own words."""
    found = error
    while inner := found.__cause__ or found.__context__:
        found = inner
    return getattr(found, "strerror", None) or str(error)
