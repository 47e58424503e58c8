"""The client on asyncio: the same calls by the same names, the same answers and the same errors."""

from __future__ import annotations

import asyncio
import inspect
import json
import sys
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

import httpx
import pytest
from flask.testing import FlaskClient
from sheetmargin import (
    AsyncClient,
    Client,
    ConnectionFailed,
    ExtraNotInstalled,
    IncompleteAnswer,
    InvalidJob,
    NotAuthorised,
    ServiceUnavailable,
    Sheet,
    UnexpectedAnswer,
)
from sheetmargin_service.app import create_app
from sheetmargin_service.config import Settings

URL = "http://service.example"
PAPER = Sheet(material="copy-paper", grammage_gsm=80)
T = TypeVar("T")
Handler = Callable[[httpx.Request], httpx.Response]


@pytest.fixture(scope="module")
def real() -> FlaskClient:
    return create_app(Settings()).test_client()


def served_by(real: FlaskClient) -> Handler:
    """A session that hands each request to an application in this process."""

    def answer(request: httpx.Request) -> httpx.Response:
        path = request.url.raw_path.decode()
        headers = {name: value for name, value in request.headers.items() if name != "host"}
        found = real.open(path, method=request.method, data=request.content, headers=headers)
        content = found.data
        found.close()
        return httpx.Response(found.status_code, headers=dict(found.headers), content=content)

    return answer


def asked(handler: Handler, ask: Callable[[AsyncClient], Awaitable[T]], **how: Any) -> T:
    async def run() -> T:
        session = httpx.AsyncClient(transport=httpx.MockTransport(handler))
        async with AsyncClient(URL, session=session, **how) as client, session:
            return await ask(client)

    # In a thread of its own: a test before this one may have left a loop running here.
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(asyncio.run, run()).result()


def test_every_call_has_the_same_name_and_arguments() -> None:
    public = {name for name in vars(Client) if not name.startswith("_")} - {"in_process", "in_this_process"}
    assert public <= vars(AsyncClient).keys()
    for name in public - {"close", "recommend_many", "sweep"}:
        one, other = getattr(Client, name), getattr(AsyncClient, name)
        assert inspect.signature(one) == inspect.signature(other)
        assert one.__doc__ == other.__doc__
        assert inspect.iscoroutinefunction(other)
    known = inspect.signature(Client.__init__).parameters.keys()
    assert inspect.signature(AsyncClient.__init__).parameters.keys() == known


def test_answers_are_those_of_the_other_client(real: FlaskClient) -> None:
    async def ask(client: AsyncClient) -> tuple[Any, ...]:
        return (
            await client.recommend(PAPER),
            await client.summarise(PAPER),
            await client.compare(PAPER, "ultrasonic-400k", "capacitive-200k"),
            await client.materials("copy"),
            await client.materials(),
            await client.detector_classes(),
            await client.fingerprint(),
            await client.setup_sheet(PAPER, format="html"),
            await client.read_sheet("80 gsm copy paper", decimal_mark="."),
        )

    answers = asked(served_by(real), ask, language="de")
    with Client.in_process(language="de") as client:
        others = (
            client.recommend(PAPER),
            client.summarise(PAPER),
            client.compare(PAPER, "ultrasonic-400k", "capacitive-200k"),
            client.materials("copy"),
            client.materials(),
            client.detector_classes(),
            client.fingerprint(),
            client.setup_sheet(PAPER, format="html"),
            client.read_sheet("80 gsm copy paper", decimal_mark="."),
        )
    assert [one == other for one, other in zip(answers[:7], others[:7], strict=True)] == [True] * 7
    assert answers[0].language == "de"
    assert answers[7].startswith(b"<!doctype html>")
    assert answers[8] == others[8]


@pytest.mark.parametrize("workers", [1, 3])
def test_many_questions_come_back_in_order(real: FlaskClient, workers: int) -> None:
    sheets = [Sheet(material="copy-paper", grammage_gsm=60 + 10 * number) for number in range(5)]

    async def ask(client: AsyncClient) -> tuple[list[Any], list[Any]]:
        questions = [*sheets, InvalidJob("not read"), Sheet(material="nix", thickness_um=5)]
        many = [one async for one in client.recommend_many(questions, workers=workers, chunk=2)]
        inputs = {"grammage_gsm": [70, 90]}
        return many, [one async for one in client.sweep(PAPER, inputs, workers=workers)]

    many, swept = asked(served_by(real), ask)
    assert [one.index for one in many] == list(range(7))
    assert [one.answer.job.sheets[0].grammage_gsm for one in many[:5]] == [60, 70, 80, 90, 100]
    assert all(isinstance(one.error, InvalidJob) for one in many[5:])
    assert [(point["grammage_gsm"], one.answer.job.sheets[0].grammage_gsm) for point, one in swept] == [
        (70, 70),
        (90, 90),
    ]


def test_busy_services_are_asked_again_and_the_token_goes_along(monkeypatch: pytest.MonkeyPatch) -> None:
    waits: list[float] = []

    async def wait(seconds: float) -> None:
        waits.append(seconds)

    monkeypatch.setattr("sheetmargin.async_client.asyncio.sleep", wait)
    seen: list[httpx.Request] = []

    def busy_twice(request: httpx.Request) -> httpx.Response:
        seen.append(request)
        if len(seen) < 3:
            return httpx.Response(503, headers={"Retry-After": "2"})
        return httpx.Response(200, json={"catalogues": []}, headers={"Content-Type": "application/json"})

    assert asked(busy_twice, lambda client: client.catalogues(), token="t") == ()
    assert [request.headers["Authorization"] for request in seen] == ["Bearer t"] * 3
    assert all(2.0 <= seconds < 3.0 for seconds in waits)
    assert len(waits) == 2


def failing(error: Exception) -> Handler:
    def fail(request: httpx.Request) -> httpx.Response:
        raise error

    return fail


def answering(status: int, content: bytes, **headers: str) -> Handler:
    return lambda request: httpx.Response(status, content=content, headers=headers)


PROBLEM = json.dumps({"title": "No", "status": 401, "request_id": "r-1"}).encode()


@pytest.mark.parametrize(
    ("handler", "error", "says"),
    [
        (failing(httpx.ConnectError("refused")), ConnectionFailed, "cannot be reached: refused"),
        (failing(httpx.ReadTimeout("slow")), ConnectionFailed, "gave no answer within 30 s"),
        (failing(httpx.RemoteProtocolError("cut")), IncompleteAnswer, "was cut off"),
        (answering(401, PROBLEM), NotAuthorised, "request r-1"),
        (answering(503, b"<html>"), ServiceUnavailable, "answered 503"),
        (answering(302, b"", Location="/x"), UnexpectedAnswer, "It points to /x"),
        (answering(200, b"<html>", **{"Content-Type": "text/html"}), UnexpectedAnswer, "is this the address"),
    ],
)
def test_failures_are_the_errors_of_the_other_client(handler: Handler, error: type[Exception], says: str) -> None:
    with pytest.raises(error) as raised:
        asked(handler, lambda client: client.version(), retries=0)
    assert says in str(raised.value)


def test_what_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "httpx", None)
    with pytest.raises(ExtraNotInstalled, match=r"sheetmargin\[async\]"):
        AsyncClient(URL)
