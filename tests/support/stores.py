"""A Redis of the test's own."""

from __future__ import annotations

import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from support.servers import free_port


class Redis:
    """A process on a port of the loopback interface; it can be stopped and started again."""

    def __init__(self, program: str, folder: Path) -> None:
        self.program, self.folder, self.port = program, folder, free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        command = [self.program, "--bind", "127.0.0.1", "--port", str(self.port), "--dir", str(self.folder)]
        self.process = subprocess.Popen([*command, "--save", "", "--appendonly", "no"], stdout=subprocess.DEVNULL)
        ends = time.monotonic() + 20.0
        while True:
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1.0).close()
                return
            except OSError:
                assert time.monotonic() < ends, "redis does not start"
                time.sleep(0.02)

    def stop(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait(timeout=20.0)


@contextmanager
def redis(program: str, folder: Path) -> Iterator[Redis]:
    """A running Redis, stopped at the end."""
    store = Redis(program, folder)
    store.start()
    try:
        yield store
    finally:
        store.stop()
