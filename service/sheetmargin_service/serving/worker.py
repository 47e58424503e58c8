"""The worker that gunicorn runs: threads, whose clients must not be too slow, and whose errors are problems."""

from __future__ import annotations

import json
import os
import socket
import time
import uuid
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from gunicorn import util
from gunicorn.http import errors, wsgi
from gunicorn.workers import base, workertmp
from gunicorn.workers.gthread import _DEFER, TConn, ThreadWorker

from sheetmargin_service.api.faults import fault_codes
from sheetmargin_service.serving.socket_timeouts import READ_S, PatientSocket

PROBES = (b"GET /livez ", b"GET /readyz ")
"""How a probe's request begins."""
LET_OTHERS_S = 0.005
"""More than an idle worker takes to wake up, less than a step of a computation (a choice)."""
_OURS = (errors.InvalidResponseHeader, errors.InvalidResponseHeaderName)
_STATUS = {
    errors.LimitRequestLine: (414, "URI Too Long", "too-long"),
    errors.ExpectationFailed: (417, "Expectation Failed", "expectation"),
    errors.LimitRequestHeaders: (431, "Request Header Fields Too Large", "too-long"),
    errors.ParseException: (400, "Bad Request", "not-http"),
}
"""Status, reason and code of what cannot be read as HTTP (RFC 9110, section 15; RFC 6585), the first that fits."""


class UnnamedResponse(wsgi.Response):  # type: ignore[misc]
    """gunicorn's response without the header that names gunicorn."""

    def default_headers(self) -> list[str]:
        return [header for header in super().default_headers() if not header.startswith("Server:")]


# gunicorn has no setting for it.
wsgi.Response = UnnamedResponse


class SignOfLife(workertmp.WorkerTmp):  # type: ignore[misc]
    """gunicorn's, without a file system, which may be full or missing."""

    def __init__(self, _cfg: Any) -> None:
        self._tmp = os.fdopen(os.memfd_create("alive"), "w+b", 0)


base.WorkerTmp = SignOfLife


class PatientWorker(ThreadWorker):  # type: ignore[misc]
    """Threads, each on a connection that does not wait for ever and has something to say; probes have their own."""

    def init_process(self) -> None:
        self.probes = ThreadPoolExecutor(max_workers=1)
        super().init_process()

    def accept(self, listener: socket.socket) -> None:
        """Take a connection; while requests are under way here, only where no idle worker does at once."""
        if self._under_way() > 0:
            time.sleep(LET_OTHERS_S)
        super().accept(listener)

    def _under_way(self) -> int:
        """Connections with a request that is answered or waits for a thread."""
        return int(self.nr_conns) - len(self.keepalived_conns) - len(self.pending_conns)

    def enqueue_req(self, conn: TConn) -> None:
        if not isinstance(conn.sock, PatientSocket):
            conn.sock = PatientSocket(fileno=conn.sock.detach())
        try:
            begins = socket.socket.recv(conn.sock, 16, socket.MSG_PEEK | socket.MSG_DONTWAIT)
            conn.data_ready = True
        except OSError:
            begins = b""
        if self.alive and not conn.initialized and not conn.data_ready:
            # gunicorn's own would let a thread wait five seconds first.
            idle: Future[Any] = Future()
            idle.set_result(_DEFER)
            self.finish_request(conn, idle)
            return
        pool = self.probes if begins.startswith(PROBES) else self.tpool
        done = pool.submit(self.handle, conn)
        done.add_done_callback(lambda future: self.method_queue.defer(self.finish_request, conn, future))

    def set_accept_enabled(self, enabled: bool) -> None:
        """Told to stop, also take the connections that the kernel has made already, and let it make no more.

        gunicorn leaves them until it ends, when they are reset. A worker that is only replaced leaves them to others.
        """
        super().set_accept_enabled(enabled)
        if self.alive or enabled or self.nr >= self.max_requests:
            return
        for listener in self.sockets:
            listener.setblocking(False)
            before = -1
            while self.nr_conns > before:
                before = self.nr_conns
                self.accept(listener)
            listener.close()

    def handle(self, conn: TConn) -> Any:
        conn.sock.ends = time.monotonic() + READ_S
        return super().handle(conn)

    def handle_error(self, req: Any, client: socket.socket, addr: Any, exc: BaseException) -> None:
        """Answer what cannot be read as HTTP with a problem; nothing of it is repeated."""
        found = next((told for kind, told in _STATUS.items() if isinstance(exc, kind)), None)
        if found is None or isinstance(exc, _OURS):
            super().handle_error(req, client, addr, exc)
            return
        status, reason, code = found
        self.log.info("not read as HTTP: %s", type(exc).__name__)
        detail = "The request is not HTTP/1.1 as this service reads it."
        problem = {
            "type": "/docs/problems/bad-syntax",
            "title": reason,
            "status": status,
            "detail": detail,
            "request_id": uuid.uuid4().hex,
            "errors": [{"code": code, "detail": fault_codes()[code]}],
        }
        body = json.dumps(problem).encode()
        head = (
            f"HTTP/1.1 {status} {reason}\r\nContent-Type: application/problem+json\r\nContent-Length: {len(body)}\r\n"
            "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\nConnection: close\r\n\r\n"
        )
        util.write_nonblock(client, head.encode() + body)

    def report_waiting(self) -> None:
        """Set the gauge of connections with a request that wait for a thread."""
        waiting = max(0, self._under_way() - int(self.cfg.threads))
        self.app.wsgi().extensions["sheetmargin.metrics"].waiting.set(waiting)
