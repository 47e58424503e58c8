"""What is counted, for Prometheus: requests by route, time of the physics, cache hits, verdicts, queues.

Under gunicorn every process counts in files of its own (`processes`), and whichever is asked adds them up.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from flask import Flask, Response, current_app, g, request
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.metrics_core import GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job

from sheetmargin_service.acoustics.poles import counted_poles
from sheetmargin_service.api.routes import Call, Routes, calls_of
from sheetmargin_service.api.service import Recommend, current_service
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.materials.library import Library
from sheetmargin_service.serving.logs import route_of_request
from sheetmargin_service.serving.metric_files import DIRECTORY, reading

TEXT = "text/plain"
EXPOSITION = "text/plain; version=0.0.4; charset=utf-8"
"""Prometheus text exposition format 0.0.4."""
_BUCKETS_S = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)

routes = Routes("metrics", "Counts of the service for Prometheus.")


@dataclass(frozen=True, kw_only=True)
class Metrics:
    """The counts of one application."""

    registry: CollectorRegistry
    requests: Counter
    request_seconds: Histogram
    running: Gauge
    waiting: Gauge
    physics_seconds: Histogram
    verdicts: Counter
    with_poles: Counter
    cache: Counter
    refused: Counter
    spared: Counter


def new_metrics() -> Metrics:
    """Counts that begin at nothing, in a registry of their own."""
    registry = CollectorRegistry()
    live: dict[str, Any] = {"registry": registry, "multiprocess_mode": "livesum"}
    return Metrics(
        registry=registry,
        requests=Counter(
            "sheetmargin_requests", "Answered requests.", ("route", "method", "status"), registry=registry
        ),
        request_seconds=Histogram(
            "sheetmargin_request_seconds",
            "From the request's reading to its answer's last byte.",
            ("route",),
            registry=registry,
            buckets=_BUCKETS_S,
        ),
        running=Gauge("sheetmargin_requests_running", "Requests being answered.", **live),
        waiting=Gauge("sheetmargin_requests_waiting", "Connections with a request that wait for a thread.", **live),
        physics_seconds=Histogram(
            "sheetmargin_physics_seconds", "Time to compute one job.", registry=registry, buckets=_BUCKETS_S
        ),
        verdicts=Counter("sheetmargin_verdicts", "Verdicts of computed jobs.", ("verdict",), registry=registry),
        with_poles=Counter(
            "sheetmargin_jobs_with_poles",
            "Computed jobs with a sheet near a thickness resonance, whose poles were added to the integral over angle.",
            registry=registry,
        ),
        cache=Counter(
            "sheetmargin_cache",
            "Answers with a tag: the caller held it already (hit), the process did (kept), or it was computed (miss).",
            ("outcome",),
            registry=registry,
        ),
        refused=Counter("sheetmargin_refused", "Requests refused by a limit.", ("limit",), registry=registry),
        spared=Counter(
            "sheetmargin_jobs_spared", "Jobs of batches not begun, since their caller had gone.", registry=registry
        ),
    )


def current_metrics() -> Metrics:
    """The counts of the application that handles this request."""
    metrics: Metrics = current_app.extensions["sheetmargin.metrics"]
    return metrics


def measured(recommend: Recommend, metrics: Metrics) -> Recommend:
    """The same, with its time and verdicts counted."""

    def compute(job: Job, *, catalogue: Catalogue, library: Library) -> Answer:
        with metrics.physics_seconds.time(), counted_poles() as count:
            answer = recommend(job, catalogue=catalogue, library=library)
        metrics.verdicts.labels(answer.verdict).inc()
        metrics.with_poles.inc(count.poles > 0)
        return answer

    return compute


def install_metrics(app: Flask, metrics: Metrics) -> None:
    """Count every request, from its beginning to the last byte of its answer."""
    app.extensions["sheetmargin.metrics"] = metrics
    cached = {name for name, call in calls_of(app).items() if call.cached}

    def begin() -> None:
        g.counted_from = time.perf_counter()
        metrics.running.inc()

    def end(response: Response) -> Response:
        route, method, endpoint = route_of_request(), request.method, request.endpoint
        begun: float = g.counted_from
        kept, progress = "kept" in g, g.get("progress")

        def count() -> None:
            metrics.running.dec()
            metrics.requests.labels(route, method, response.status_code).inc()
            metrics.request_seconds.labels(route).observe(time.perf_counter() - begun)
            if endpoint in cached and response.status_code in (200, 304):
                metrics.cache.labels("hit" if response.status_code == 304 else "kept" if kept else "miss").inc()
            if progress is not None:
                metrics.spared.inc(progress.jobs - progress.begun)

        response.call_on_close(count)
        return response

    app.before_request(begin)
    app.after_request(end)


class CatalogueCollector(Collector):
    """The catalogues of this process, and whether their files could be taken up when they were last to be."""

    def collect(self) -> Iterator[Metric]:
        service = current_service()
        stale = "1 where the catalogue files could not be taken up and the ones before are kept."
        yield GaugeMetricFamily("sheetmargin_catalogue_stale", stale, value=float(service.catalogue_stale))
        classes = GaugeMetricFamily("sheetmargin_catalogue_classes", "Classes.", labels=("catalogue", "version"))
        for name, catalogue in service.catalogues.items():
            classes.add_metric((name, catalogue.version), len(catalogue.classes))
        yield classes


@routes.get("/metrics", Call(scope="metrics", media_type=TEXT))
def show_metrics() -> Response:
    """The counts of every process of this instance, in the text format of Prometheus."""
    if DIRECTORY in os.environ:
        with reading():
            registry = CollectorRegistry()
            MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
            body = generate_latest(registry)
    else:
        body = generate_latest(current_metrics().registry)
    catalogues = CollectorRegistry()
    catalogues.register(CatalogueCollector())
    body += generate_latest(catalogues)
    response = Response(body, content_type=EXPOSITION)
    response.headers["Cache-Control"] = "no-store"
    return response
