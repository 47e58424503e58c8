"""Spans, where they are wanted."""

from __future__ import annotations

import logging
from dataclasses import replace

import pytest
from flask import Flask
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.serving.telemetry import install_telemetry
from support.answers import CountingRecommend

TRACE, SPAN = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"
QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80"


@pytest.fixture
def spans() -> InMemorySpanExporter:
    return InMemorySpanExporter()


@pytest.fixture
def app(spans: InMemorySpanExporter) -> Flask:
    provider = TracerProvider()
    provider.add_span_processor(SimpleSpanProcessor(spans))
    app = create_app(service=replace(load_service(Settings()), recommend=CountingRecommend()))
    service = app.extensions["sheetmargin"]
    computing = install_telemetry(app, service.recommend, provider.get_tracer("test"))
    app.extensions["sheetmargin"] = replace(service, recommend=computing)
    return app


def test_a_request_and_its_job(app: Flask, spans: InMemorySpanExporter, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    app.test_client().get(QUERY, headers={"traceparent": f"00-{TRACE}-{SPAN}-01"}, buffered=True)
    job, request = spans.get_finished_spans()
    assert request.name == "GET /v1/recommendations"
    assert request.kind is SpanKind.SERVER
    assert request.attributes is not None
    assert request.attributes["http.response.status_code"] == 200
    assert f"{request.context.trace_id:032x}" == TRACE
    assert request.parent is not None
    assert f"{request.parent.span_id:016x}" == SPAN
    assert job.parent is not None
    assert (job.name, job.parent.span_id) == ("recommend", request.context.span_id)
    (record,) = [record for record in caplog.records if record.name == "sheetmargin.access"]
    assert record.fields["span_id"] == f"{request.context.span_id:016x}"  # type: ignore[attr-defined]


def test_requests_do_not_share_a_span(app: Flask, spans: InMemorySpanExporter) -> None:
    client = app.test_client()
    for _ in range(2):
        client.get("/livez", buffered=True)
    first, second = spans.get_finished_spans()
    assert first.context.trace_id != second.context.trace_id
    assert second.parent is None


def test_a_failure_is_marked(app: Flask, spans: InMemorySpanExporter) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    app.extensions["sheetmargin"] = replace(app.extensions["sheetmargin"], recommend=fail)
    assert app.test_client().get(QUERY, buffered=True).status_code == 500
    assert spans.get_finished_spans()[-1].status.status_code is StatusCode.ERROR
