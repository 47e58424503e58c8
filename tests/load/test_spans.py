"""Spans reach a collector from workers that were forked after the sender was made."""

from __future__ import annotations

import threading
import time
import urllib.request
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import Span
from support.servers import gunicorn

QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80&classes=ultrasonic-180k"
TRACE, PARENT = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"


class Collector(ThreadingHTTPServer):
    """Takes spans by OTLP over HTTP."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Take)
        self.spans: list[Span] = []


class Take(BaseHTTPRequestHandler):
    server: Collector

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        message = ExportTraceServiceRequest.FromString(body)
        self.server.spans += [
            span for resource in message.resource_spans for scope in resource.scope_spans for span in scope.spans
        ]
        self.send_response(200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Say nothing."""


@pytest.fixture
def collector() -> Iterator[Collector]:
    with Collector() as running:
        thread = threading.Thread(target=running.serve_forever, daemon=True)
        thread.start()
        yield running
        running.shutdown()
        thread.join()


def test_a_worker_sends_its_spans(collector: Collector, tmp_path: Path) -> None:
    environment = {
        "SHEETMARGIN_TELEMETRY": "on",
        "OTEL_EXPORTER_OTLP_ENDPOINT": f"http://127.0.0.1:{collector.server_port}",
        "OTEL_EXPORTER_OTLP_COMPRESSION": "none",
        "OTEL_BSP_SCHEDULE_DELAY": "100",
    }
    with gunicorn(tmp_path, environment=environment) as server:
        request = urllib.request.Request(server.url + QUERY, headers={"traceparent": f"00-{TRACE}-{PARENT}-01"})
        urllib.request.urlopen(request).close()
        ends = time.monotonic() + 30.0
        while not (asked := [span for span in collector.spans if span.trace_id.hex() == TRACE]) or len(asked) < 2:
            assert time.monotonic() < ends, server.log.read_text()
            time.sleep(0.05)
    spans = {span.name: span for span in asked}
    whole, inner = spans["GET /v1/recommendations"], spans["recommend"]
    assert whole.parent_span_id.hex() == PARENT
    assert inner.parent_span_id == whole.span_id
