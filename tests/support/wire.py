"""HTTP written by hand, for what no client would send."""

from __future__ import annotations

import json
import socket
import time
from dataclasses import dataclass
from typing import Any

HOST = "127.0.0.1"


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What came back: 0 where the connection was closed without a word."""

    status: int
    head: str
    body: bytes
    seconds: float

    def header(self, name: str) -> str | None:
        for line in self.head.split("\r\n")[1:]:
            key, _, value = line.partition(":")
            if key.lower() == name.lower():
                return value.strip()
        return None


def request(
    method: str, target: str, *, headers: str = "", body: bytes = b"", kind: str | None = "application/json"
) -> bytes:
    """A request that is right but for what is put into it; `headers` are whole lines."""
    lines = [f"{method} {target} HTTP/1.1", f"Host: {HOST}", "Connection: close"]
    if body:
        lines += [f"Content-Length: {len(body)}"] + ([f"Content-Type: {kind}"] if kind else [])
    return ("\r\n".join(lines) + "\r\n" + headers + "\r\n").encode("latin-1") + body


def post(value: Any, target: str = "/v1/recommendations", *, headers: str = "") -> bytes:
    """A POST of JSON, or of bytes as they are."""
    body = value if isinstance(value, bytes) else json.dumps(value).encode()
    return request("POST", target, body=body, headers=headers)


def exchange(port: int, sent: bytes, *, longest_s: float = 20.0) -> Reply:
    """Send bytes and read all that comes back, until the server closes or has nothing more to say."""
    begun = time.monotonic()
    received = b""
    with socket.create_connection((HOST, port), timeout=longest_s) as connection:
        try:
            connection.sendall(sent)
            connection.shutdown(socket.SHUT_WR)
            while chunk := connection.recv(1 << 16):
                received += chunk
        except TimeoutError:
            raise
        except OSError:
            pass  # the server had seen enough, and closed
    head, _, body = received.partition(b"\r\n\r\n")
    text = head.decode("latin-1")
    status = int(text.split(" ")[1]) if text.startswith("HTTP/") else 0
    return Reply(status=status, head=text, body=body, seconds=time.monotonic() - begun)
