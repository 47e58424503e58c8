"""Servers in processes of their own, on the loopback interface."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

START_S = 90.0
STOP_S = 40.0


def free_port() -> int:
    """A port that nobody listens on at the moment."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


class Server:
    """A process that serves HTTP on a port; `log` is the file of its standard error."""

    def __init__(self, command: list[str], *, port: int, log: Path, environment: Mapping[str, str]) -> None:
        self.port, self.log = port, log
        self.url = f"http://127.0.0.1:{port}"
        clean = {
            name: value for name, value in os.environ.items() if not name.startswith(("SHEETMARGIN", "PROMETHEUS"))
        }
        with log.open("ab") as errors:
            self.process = subprocess.Popen(
                command, env=clean | dict(environment), cwd="/", stdout=errors, stderr=errors, start_new_session=True
            )

    def wait(self, path: str = "/livez") -> None:
        """Until it answers."""
        ends = time.monotonic() + START_S
        while True:
            try:
                urllib.request.urlopen(self.url + path, timeout=5).close()
                return
            except urllib.error.HTTPError:
                return
            except OSError:
                assert self.process.poll() is None, self.log.read_text()
                assert time.monotonic() < ends, self.log.read_text()
                time.sleep(0.05)

    def signal(self, number: signal.Signals) -> None:
        self.process.send_signal(number)

    def kill(self) -> None:
        """The whole group of processes at once, as a machine that dies."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=STOP_S)

    def stop(self) -> int:
        """As an operator stops it; its exit code."""
        if self.process.poll() is None:
            self.process.terminate()
        return self.process.wait(timeout=STOP_S)


@contextmanager
def gunicorn(
    folder: Path,
    *options: str,
    workers: int = 1,
    threads: int = 4,
    port: int | None = None,
    environment: Mapping[str, str] | None = None,
    application: str | None = None,
) -> Iterator[Server]:
    """The service, or another application, under gunicorn; stopped at the end if it still runs."""
    port = port or free_port()
    settings = ["--config", "python:sheetmargin_service.gunicorn_conf"] if application is None else []
    command = [
        *(sys.executable, "-m", "gunicorn", *settings, "--bind", f"127.0.0.1:{port}"),
        *("--workers", str(workers), "--threads", str(threads), *options),
        *([] if application is None else ["--worker-class", "gthread", "--no-control-socket", application]),
    ]
    server = Server(command, port=port, log=folder / f"gunicorn-{port}.log", environment=environment or {})
    try:
        server.wait()
        yield server
    finally:
        server.stop()
