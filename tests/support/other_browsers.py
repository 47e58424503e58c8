"""Firefox and WebKit, driven by the protocols that they bring: Marionette over a socket, WebDriver over HTTP."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import requests

from support.servers import free_port

START_S = 60
SCRIPT_MS = 60_000


class Window(Protocol):
    """A window of a browser."""

    def goto(self, url: str) -> None: ...

    def run(self, script: str) -> Any:
        """What an asynchronous function's body returns in the page."""


def _called(script: str) -> dict[str, Any]:
    body = "const done = arguments[arguments.length - 1]; (async () => {%s})().then(done, (e) => done(`failed: ${e}`));"
    return {"script": body % script, "args": []}


class Marionette:
    """Firefox: messages of JSON with their length before them."""

    def __init__(self, port: int) -> None:
        self._socket = self._connected(port)
        self._file = self._socket.makefile("rb")
        self._read()  # it names itself first
        self._send("WebDriver:NewSession", {"timeouts": {"script": SCRIPT_MS}})

    def _connected(self, port: int) -> socket.socket:
        for _ in range(START_S * 5):
            try:
                return socket.create_connection(("127.0.0.1", port), timeout=120)
            except OSError:
                time.sleep(0.2)
        raise TimeoutError("Firefox does not listen")

    def _read(self) -> Any:
        length = b""
        while (byte := self._file.read(1)) != b":":
            length += byte
        return json.loads(self._file.read(int(length)))

    def _send(self, name: str, parameters: dict[str, Any]) -> Any:
        message = json.dumps([0, 1, name, parameters]).encode()
        self._socket.sendall(b"%d:%s" % (len(message), message))
        _, _, error, result = self._read()
        assert error is None, error
        return result

    def goto(self, url: str) -> None:
        self._send("WebDriver:Navigate", {"url": url})

    def run(self, script: str) -> Any:
        return self._send("WebDriver:ExecuteAsyncScript", _called(script))["value"]

    def close(self) -> None:
        self._file.close()
        self._socket.close()


class WebDriver:
    """WebKit, by W3C WebDriver."""

    def __init__(self, port: int, program: str) -> None:
        self._url = f"http://127.0.0.1:{port}/session"
        options = {"binary": program, "args": ["--automation"]}
        asked = {
            "capabilities": {"alwaysMatch": {"webkitgtk:browserOptions": options, "timeouts": {"script": SCRIPT_MS}}}
        }
        for _ in range(START_S * 5):
            try:
                started = requests.post(self._url, json=asked, timeout=START_S).json()["value"]
                break
            except requests.ConnectionError:
                time.sleep(0.2)
        self._url += f"/{started['sessionId']}"

    def _send(self, path: str, body: dict[str, Any]) -> Any:
        answer = requests.post(f"{self._url}/{path}", json=body, timeout=120).json()["value"]
        assert not (isinstance(answer, dict) and "error" in answer), answer
        return answer

    def goto(self, url: str) -> None:
        self._send("url", {"url": url})

    def run(self, script: str) -> Any:
        return self._send("execute/async", _called(script))

    def close(self) -> None:
        requests.delete(self._url, timeout=30)


@contextmanager
def _process(command: list[str], **environment: str) -> Iterator[None]:
    process = subprocess.Popen(
        command, env={**os.environ, **environment}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield
    finally:
        process.terminate()
        process.wait(timeout=30)


@contextmanager
def firefox(program: str, profile: Path) -> Iterator[Window]:
    """A window of Firefox without a screen."""
    port = free_port()
    (profile / "user.js").write_text(f'user_pref("marionette.port", {port});\n')
    with _process([program, "--headless", "--marionette", "--no-remote", "--profile", str(profile)], HOME=str(profile)):
        window = Marionette(port)
        try:
            yield window
        finally:
            window.close()


@contextmanager
def webkit(program: str) -> Iterator[Window]:
    """A window of WebKit on a screen that nobody sees."""
    port, screen = free_port(), f":{free_port()}"
    (browser,) = Path("/usr/lib").glob("*/webkit2gtk-4.1/MiniBrowser")
    environment = {
        "DISPLAY": screen,
        "WEBKIT_DISABLE_COMPOSITING_MODE": "1",
        "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1",
    }
    with _process(["Xvfb", screen, "-nolisten", "tcp"]), _process([program, f"--port={port}"], **environment):
        window = WebDriver(port, str(browser))
        try:
            yield window
        finally:
            window.close()
