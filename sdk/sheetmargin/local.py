"""The service in this process: the same application, asked through WSGI (PEP 3333) instead of a socket.

It is found by its entry point, so that the client imports nothing of the service. Its answers are the server's, byte
for byte.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterable, Mapping
from importlib.metadata import entry_points
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from requests import PreparedRequest, Response
from requests.adapters import HTTPAdapter
from urllib3 import HTTPResponse

from sheetmargin.errors import ServiceNotInstalled, ServiceUnavailable

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication, WSGIEnvironment

GROUP = "sheetmargin.in_process"
URL = "http://localhost"


def load_application(**settings: str) -> WSGIApplication:
    """The service's application. `catalogue` and `stock` stand for SHEETMARGIN_CATALOGUE and SHEETMARGIN_STOCK of the
    environment.

    Raises ServiceNotInstalled, naming the command that installs it, and ServiceUnavailable where a setting in the
    environment keeps the service from starting.
    """
    try:
        return _loaded("service")(**settings)  # type: ignore[no-any-return]
    except ModuleNotFoundError as error:
        raise _not_installed(error) from error
    except ValueError as error:
        raise ServiceUnavailable(f"The service cannot start: {error}") from error


def load_characterise() -> Callable[..., Any]:
    """The service's function that makes an entry of a catalogue from bench readings. Raises ServiceNotInstalled."""
    return _needed("characterise")  # type: ignore[no-any-return]


def load_key_commands() -> Any:
    """The service's module that makes, lists and revokes keys. Raises ServiceNotInstalled."""
    return _needed("keys")


def _needed(name: str) -> Any:
    try:
        return _loaded(name)
    except ModuleNotFoundError as error:
        raise _not_installed(error) from error


def _loaded(name: str) -> Callable[..., Any]:
    entry = next(iter(entry_points(group=GROUP, name=name)), None)
    if entry is None:
        raise ServiceNotInstalled.missing(f"the entry point {GROUP}")
    return entry.load()  # type: ignore[no-any-return]


def _not_installed(error: ModuleNotFoundError) -> Exception:
    """The error to raise: a missing module of the service itself is a fault of its own."""
    own = (error.name or "").startswith("sheetmargin_service.")
    return error if own else ServiceNotInstalled.missing(error.name or str(error))


class WsgiAdapter(HTTPAdapter):
    """Hands a session's requests to an application in this process. Time limits mean nothing here and are ignored."""

    def __init__(self, application: WSGIApplication) -> None:
        super().__init__()
        self._application = application

    def send(
        self,
        request: PreparedRequest,
        stream: bool = False,
        timeout: float | tuple[float, float] | tuple[float, None] | None = None,
        verify: bool | str = True,
        cert: bytes | str | tuple[bytes | str, bytes | str] | None = None,
        proxies: Mapping[str, str] | None = None,
    ) -> Response:
        started: dict[str, Any] = {}
        written: list[bytes] = []

        def start_response(status: str, headers: list[tuple[str, str]], exc_info: object = None) -> Any:
            code, _, reason = status.partition(" ")
            started.update(status=int(code), reason=reason, headers=headers)
            return written.append

        chunks: Iterable[bytes] = self._application(_environ(request), start_response)
        try:
            written.extend(chunks)
        finally:
            close = getattr(chunks, "close", None)
            if close is not None:
                close()
        body = io.BytesIO(b"".join(written))
        return self.build_response(request, HTTPResponse(body=body, preload_content=False, **started))


def _environ(request: PreparedRequest) -> WSGIEnvironment:
    url = urlsplit(request.url or URL)
    body = request.body or b""
    if isinstance(body, str):
        body = body.encode()
    environ: WSGIEnvironment = {
        "REQUEST_METHOD": request.method or "GET",
        "SCRIPT_NAME": "",
        "PATH_INFO": unquote(url.path, encoding="latin-1"),
        "QUERY_STRING": url.query,
        "SERVER_NAME": url.hostname or "",
        "SERVER_PORT": "80",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "127.0.0.1",
        "CONTENT_TYPE": request.headers.get("Content-Type", ""),
        "CONTENT_LENGTH": str(len(body)),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": url.scheme,
        "wsgi.input": io.BytesIO(body),
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
    }
    for name, value in request.headers.items():
        # Compressing an answer for the same process would only cost time.
        if name.lower() not in ("content-type", "content-length", "accept-encoding"):
            environ["HTTP_" + name.upper().replace("-", "_")] = value
    return environ
