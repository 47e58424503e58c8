"""Spans for OpenTelemetry, where the settings ask for them: one for each request, and one for each job computed in it.

Where they are sent, and how many, the `OTEL_*` variables of the OpenTelemetry specification say.
"""

from __future__ import annotations

from flask import Flask, Response, g, request
from opentelemetry import context
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.trace import SpanKind, StatusCode, Tracer, format_span_id, format_trace_id, set_span_in_context
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job

from sheetmargin_service.api.service import Recommend
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.serving.logs import route_of_request
from sheetmargin_service.serving.trace import HEADER, Trace

NAME = "sheetmargin"


def sending_tracer() -> Tracer:
    """A tracer that sends its spans by OTLP over HTTP, from a thread of each worker's own."""
    provider = TracerProvider(resource=Resource.create({"service.name": NAME}))
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    return provider.get_tracer(NAME)


def _traced(recommend: Recommend, tracer: Tracer) -> Recommend:
    """The same, with a span of its own."""

    def compute(job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
        with tracer.start_as_current_span("recommend", attributes={"sheets": len(job.sheets)}):
            return recommend(job, catalogue=catalogue, library=library)

    return compute


def install_telemetry(app: Flask, recommend: Recommend, tracer: Tracer) -> Recommend:
    """Give every request a span, which continues the caller's trace and names the request in the logs; and every job
    that the returned `recommend` computes."""

    def begin() -> None:
        headers = {HEADER: request.headers.get(HEADER, "")}
        span = tracer.start_span(
            f"{request.method} {route_of_request()}",
            context=TraceContextTextMapPropagator().extract(headers),
            kind=SpanKind.SERVER,
            attributes={"http.request.method": request.method, "http.route": route_of_request()},
        )
        g.span, g.span_token = span, context.attach(set_span_in_context(span))
        names = span.get_span_context()
        trace_id, span_id = format_trace_id(names.trace_id), format_span_id(names.span_id)
        g.trace = Trace(trace_id=trace_id, span_id=span_id, parent_id=g.trace.parent_id)

    def end(response: Response) -> Response:
        span = g.span
        span.set_attribute("http.response.status_code", response.status_code)
        if response.status_code >= 500:
            span.set_status(StatusCode.ERROR)
        response.call_on_close(span.end)
        return response

    def leave(_error: BaseException | None) -> None:
        if "span_token" in g:
            context.detach(g.pop("span_token"))

    app.before_request(begin)
    app.after_request(end)
    app.teardown_request(leave)
    return _traced(recommend, tracer)
