"""The service in this process, over WSGI."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from importlib.metadata import EntryPoint
from typing import TYPE_CHECKING, Any

import pytest
from sheetmargin import Client, ServiceNotInstalled, ServiceUnavailable, local
from sheetmargin.local import WsgiAdapter
from sheetmargin.transport import Transport

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment


def transport(application: WSGIApplication) -> Transport:
    return Transport(
        local.URL, token="a-token", timeout_s=(1, 1), retries=0, language="de", adapter=WsgiAdapter(application)
    )


def test_the_application_sees_the_request_as_a_server_would_hand_it_over() -> None:
    seen: dict[str, Any] = {}

    def application(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        seen.update(environ, body=environ["wsgi.input"].read(int(environ["CONTENT_LENGTH"])))
        start_response("200 OK", [("Content-Type", "application/json"), ("ETag", '"x"')])
        return [b'{"a"', b": 1}"]

    reply = transport(application).send(
        "POST", "/v1/größe", params={"q": "a&b", "classes": ["x", "y"]}, body=b'{"label": 1}'
    )
    assert reply.content == b'{"a": 1}'
    assert reply.headers["etag"] == '"x"'
    assert seen["body"] == b'{"label": 1}'
    # PEP 3333 wants the bytes of the path as latin-1 text.
    assert seen["PATH_INFO"].encode("latin-1").decode() == "/v1/größe"
    expected = {
        "REQUEST_METHOD": "POST",
        "QUERY_STRING": "q=a%26b&classes=x&classes=y",
        "CONTENT_TYPE": "application/json",
        "HTTP_AUTHORIZATION": "Bearer a-token",
        "HTTP_ACCEPT_LANGUAGE": "de",
    }
    assert {key: seen[key] for key in expected} == expected
    assert "HTTP_ACCEPT_ENCODING" not in seen


def test_the_answer_is_closed_and_written_bytes_come_first() -> None:
    closed = []

    class Answer:
        def __iter__(self) -> Iterator[bytes]:
            yield b"1}"

        def close(self) -> None:
            closed.append(True)

    def application(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        write = start_response("200 OK", [("Content-Type", "application/json")])
        write(b'{"a": ')
        return Answer()

    assert transport(application).send("GET", "/").json() == {"a": 1}
    assert closed == [True]


def entry(load: Callable[[], Any]) -> Any:
    class Entry(EntryPoint):
        def load(self) -> Any:
            return load

    return lambda **_: [Entry(local.GROUP, "service", "somewhere:create_app")]


def raising(error: Exception) -> Callable[[], Any]:
    def create_app() -> Any:
        raise error

    return create_app


@pytest.mark.parametrize(
    "found",
    [lambda **_: [], entry(raising(ModuleNotFoundError("No module named 'flask'", name="flask")))],
)
def test_without_the_extra_the_command_that_brings_it_is_named(
    monkeypatch: pytest.MonkeyPatch, found: Callable[..., Any]
) -> None:
    monkeypatch.setattr(local, "entry_points", found)
    with pytest.raises(ServiceNotInstalled, match=r"pip install 'sheetmargin\[service\]'"):
        Client.in_process()


def test_a_module_missing_from_the_service_itself_is_no_missing_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = ModuleNotFoundError("No module named 'sheetmargin_service.lost'", name="sheetmargin_service.lost")
    monkeypatch.setattr(local, "entry_points", entry(raising(broken)))
    with pytest.raises(ModuleNotFoundError):
        Client.in_process()


def test_a_wrong_setting_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(local, "entry_points", entry(raising(ValueError("SHEETMARGIN_ACCESS: 'ajar' is neither"))))
    with pytest.raises(ServiceUnavailable, match="SHEETMARGIN_ACCESS: 'ajar'"):
        Client.in_process()
