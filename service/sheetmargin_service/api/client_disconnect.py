"""Whether the caller still waits for the rest of an answer that is sent in pieces."""

from __future__ import annotations

import select
import socket
from collections.abc import Callable, Mapping
from typing import Any

_GONE = select.POLLERR | select.POLLHUP


def departure(environ: Mapping[str, Any]) -> Callable[[], bool]:
    """A function that tells whether the caller has closed the connection, as far as the server shows its socket.

    A connection closed by half, by a caller that has said all and listens, is not gone (poll(2): POLLHUP means both
    halves). A closed one looks the same until something is sent on it and comes back.
    """
    connection = environ.get("gunicorn.socket")
    if not isinstance(connection, socket.socket):
        return lambda: False
    poll = select.poll()
    poll.register(connection, 0)  # errors and hang-ups are told without being asked for
    return lambda: any(events & _GONE for _, events in poll.poll(0))
