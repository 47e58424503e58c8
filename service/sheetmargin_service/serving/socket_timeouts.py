"""A connection that does not wait for ever.

gunicorn's threads read a request, and write its answer, for as long as the client pleases: a handful of slow ones would
hold every thread. A proxy in front keeps them off; this keeps them off without one.
"""

from __future__ import annotations

import errno
import socket
import time
from contextlib import suppress
from typing import Any

READ_S = 10.0
"""From a request's first byte to its last. 2 MiB in that time is 1.7 Mbit/s."""
WRITE_S = 30.0
"""For one piece of an answer, in which a batch has one job."""


class PatientSocket(socket.socket):
    """A request must be read by `ends` (monotonic clock), a piece of an answer be written within WRITE_S; then the
    connection counts as broken."""

    ends: float = float("inf")

    def recv(self, size: int, flags: int = 0, /) -> bytes:
        before, left = self.gettimeout(), self.ends - time.monotonic()
        if left > 0.0 and before is None:
            # Mostly it is there: then nothing has to be set and set back.
            with suppress(BlockingIOError):
                return super().recv(size, flags | socket.MSG_DONTWAIT)
        if left > 0.0 and before is not None and before < left:
            return super().recv(size, flags)
        try:
            self.settimeout(max(left, 1e-3))
            return super().recv(size, flags)
        except TimeoutError as error:
            raise ConnectionResetError(errno.ECONNRESET, "the request took too long to arrive") from error
        finally:
            self.settimeout(before)

    def sendall(self, data: Any, flags: int = 0, /) -> None:
        before = self.gettimeout()
        if before is None:
            # Mostly the kernel takes it all at once.
            with suppress(BlockingIOError):
                data = memoryview(data)[super().send(data, flags | socket.MSG_DONTWAIT) :]
            if not data:
                return
            self.settimeout(WRITE_S)
        try:
            super().sendall(data, flags)
        except TimeoutError as error:
            raise BrokenPipeError(errno.EPIPE, "the answer was not taken") from error
        finally:
            self.settimeout(before)
