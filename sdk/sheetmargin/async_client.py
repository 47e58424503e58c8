"""The client for programs that wait for many things at once: the calls of `Client` by the same names, awaited.

A method of `Client` is a function of the replies that it gets. Here it runs with those that are there, stops where it
asks for one more, and runs again when that has come: what is asked and how it is read stands in `Client` alone.
"""

from __future__ import annotations

import asyncio
import os
import ssl
import time
from collections import deque
from collections.abc import AsyncIterator, Callable, Coroutine, Iterable, Mapping, Sequence
from functools import wraps
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

from sheetmargin.bulk import CHUNK, Part, parts_of, settle
from sheetmargin.client import TIMEOUT_S, Client
from sheetmargin.encode import Question
from sheetmargin.errors import ConnectionFailed, ExtraNotInstalled, IncompleteAnswer, InvalidJob, SheetmarginError
from sheetmargin.outcome import Outcome
from sheetmargin.sweep import jobs_of
from sheetmargin.transport import (
    JSON,
    Parameters,
    Received,
    Reply,
    first_cause,
    log,
    log_call,
    request_headers,
    seconds_to_wait,
)

if TYPE_CHECKING:
    import httpx

P = ParamSpec("P")
T = TypeVar("T")


class _MoreAsked(Exception):  # noqa: N818 - no error: what is to be sent next
    def __init__(self, method: str, path: str, **how: Any) -> None:
        super().__init__(path)
        self.method, self.path, self.how = method, path, how


class _Replies:
    """Stands for a transport: hands out the replies that there are."""

    def __init__(self, replies: Sequence[Reply]) -> None:
        self._left = iter(replies)

    def send(self, method: str, path: str, **how: Any) -> Reply:
        reply = next(self._left, None)
        if reply is None:
            raise _MoreAsked(method, path, **how)
        return reply


def _awaited(
    call: Callable[Concatenate[Client, P], T],
) -> Callable[Concatenate[AsyncClient, P], Coroutine[Any, Any, T]]:
    """A method of `Client` that is awaited."""

    @wraps(call)
    async def awaited(self: AsyncClient, /, *arguments: P.args, **named: P.kwargs) -> T:
        replies: list[Reply] = []
        while True:
            try:
                return call(self._with(replies), *arguments, **named)
            except _MoreAsked as asked:
                replies.append(await self._send(asked.method, asked.path, **asked.how))

    return awaited


class AsyncClient:
    """Asks a sheetmargin service from a program on asyncio; arguments and errors are those of `Client`.

    `session` is an `httpx.AsyncClient` of your own. One client serves one event loop. Raises ExtraNotInstalled without
    the extra `async`.
    """

    def __init__(
        self,
        url: str,
        token: str | None = None,
        timeout: float | tuple[float, float] = TIMEOUT_S,
        *,
        retries: int = 3,
        language: str | None = None,
        session: httpx.AsyncClient | None = None,
        proxies: Mapping[str, str] | None = None,
        ca_file: str | os.PathLike[str] | None = None,
    ) -> None:
        try:
            import httpx
        except ModuleNotFoundError as error:
            raise ExtraNotInstalled.missing("httpx", extra="async") from error

        self._way = Client(url, token, timeout, retries=retries, language=language)._way
        trusted: ssl.SSLContext | bool = True if ca_file is None else ssl.create_default_context(cafile=ca_file)
        ways = {f"{scheme}://": httpx.AsyncHTTPTransport(proxy=proxy) for scheme, proxy in (proxies or {}).items()}
        # A session that was given is its owner's: nothing of it is changed, and it is not closed.
        self._session, self._own = session or httpx.AsyncClient(verify=trusted, mounts=ways), session is None

    recommend = _awaited(Client.recommend)
    summarise = _awaited(Client.summarise)
    compare = _awaited(Client.compare)
    predict = _awaited(Client.predict)
    fit = _awaited(Client.fit)
    diagnose = _awaited(Client.diagnose)
    setup_sheet = _awaited(Client.setup_sheet)
    send_batch = _awaited(Client.send_batch)
    fingerprint = _awaited(Client.fingerprint)
    materials = _awaited(Client.materials)
    read_sheet = _awaited(Client.read_sheet)
    detector_classes = _awaited(Client.detector_classes)
    stocks = _awaited(Client.stocks)
    catalogues = _awaited(Client.catalogues)
    version = _awaited(Client.version)
    request = _awaited(Client.request)

    async def recommend_many(
        self, questions: Iterable[Question | InvalidJob], *, workers: int = 1, chunk: int = CHUNK
    ) -> AsyncIterator[Outcome]:
        """The outcome of each question, in order, `chunk` to a call and up to `workers` calls at once."""
        window: deque[tuple[Part, asyncio.Task[list[bytes]] | None]] = deque()
        parts = parts_of(questions, chunk)
        try:
            while True:
                while len(window) < workers and (part := next(parts, None)) is not None:
                    lines = part.lines
                    window.append((part, asyncio.create_task(self.send_batch(lines)) if lines else None))
                if not window:
                    return
                part, call = window[0]
                if call is not None:
                    settle(part, await call)
                window.popleft()
                for entry in part.entries:
                    yield entry.outcome()
        finally:
            for _, call in window:
                if call is not None:
                    call.cancel()

    async def sweep(
        self, question: Question, inputs: Mapping[str, Sequence[Any]], *, workers: int = 1
    ) -> AsyncIterator[tuple[Mapping[str, Any], Outcome]]:
        """The question at every combination of the inputs' values, as `Client.sweep` has it."""
        points, jobs = jobs_of(question, inputs)
        async for outcome in self.recommend_many(jobs, workers=workers):
            yield points[outcome.index], outcome

    async def close(self) -> None:
        if self._own:
            await self._session.aclose()

    async def __aenter__(self) -> AsyncClient:
        return self

    async def __aexit__(self, *exception: object) -> None:
        await self.close()

    def __repr__(self) -> str:
        return f"AsyncClient({self._way.url!r})"

    def _with(self, replies: Sequence[Reply]) -> Client:
        client = Client.__new__(Client)
        client._way, client.__dict__["_transport"] = self._way, _Replies(replies)
        return client

    async def _send(
        self,
        method: str,
        path: str,
        *,
        params: Parameters | None = None,
        body: bytes | None = None,
        headers: Mapping[str, str] | None = None,
        media_type: str = JSON,
    ) -> Reply:
        """One call, retried where that can help, as `Transport.send` does."""
        sent = request_headers(body, media_type=media_type, more=headers)
        given = {name: value for name, value in (params or {}).items() if value is not None}
        for attempt in range(self._way.retries + 1):
            try:
                return await self._send_once(method, path, given, body, sent)
            except SheetmarginError as error:
                wait_s = seconds_to_wait(error, attempt, retries=self._way.retries)
                if wait_s is None:
                    raise
                log.info("%s %s failed, asked again in %.1f s: %s", method, path, wait_s, error.message)
            await asyncio.sleep(wait_s)
        raise AssertionError("the last attempt returns or raises")

    async def _send_once(
        self, method: str, path: str, params: dict[str, Any], body: bytes | None, headers: Mapping[str, str]
    ) -> Reply:
        import httpx

        way, own = self._way, {}
        if way.language:
            own["Accept-Language"] = way.language
        if way.token:
            own["Authorization"] = f"Bearer {way.token}"
        connect_s, read_s = way.timeout_s
        began_s = time.perf_counter()
        try:
            response = await self._session.request(
                method,
                way.url + path,
                params=params,
                content=body,
                headers={**own, **headers},
                timeout=httpx.Timeout(read_s, connect=connect_s),
                # A redirected POST would arrive as a GET, and the token elsewhere.
                follow_redirects=False,
            )
        except httpx.RequestError as error:
            raise _connection_failed(error, way.url, read_s) from error
        log_call(method, path, response.status_code, time.perf_counter() - began_s, response.headers)
        received = Received(
            url=str(response.url),
            status=response.status_code,
            reason=response.reason_phrase,
            headers=response.headers,
            content=response.content,
        )
        return received.reply(accept=headers["Accept"])


def _connection_failed(error: httpx.RequestError, url: str, read_s: float) -> ConnectionFailed:
    import httpx

    # A slow answer is not asked for again: the service is at work on it, and a second question doubles its load.
    if isinstance(error, httpx.ReadTimeout):
        return ConnectionFailed(f"{url} gave no answer within {read_s:g} s.", transient=False)
    if isinstance(error, httpx.RemoteProtocolError):
        return IncompleteAnswer(f"The answer of {url} was cut off: {error}.")
    cause = first_cause(error)
    trusted = not isinstance(error.__cause__, ssl.SSLError) and "CERTIFICATE" not in cause
    return ConnectionFailed(
        f"{url} cannot be {'reached' if trusted else 'trusted'}: {cause}.",
        transient=trusted and isinstance(error, httpx.TransportError),
    )
