"""The application, put together."""

from __future__ import annotations

import os
import sys
from dataclasses import replace

from flask import Flask

from sheetmargin_service.api import openapi, problems
from sheetmargin_service.api.access import gate_from
from sheetmargin_service.api.caching import install_kept_answers
from sheetmargin_service.api.compression import install_compression
from sheetmargin_service.api.headers import install_headers
from sheetmargin_service.api.routes import MAX_BODY, mount
from sheetmargin_service.api.service import Service, package_build
from sheetmargin_service.api.stock import stocks_of
from sheetmargin_service.api.views import batch, docs, library, measurement, probes, recommendations
from sheetmargin_service.config import Settings, settings_from, wrong_setting
from sheetmargin_service.detectors.files import read_files
from sheetmargin_service.errors import FieldError
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import catalogues_of
from sheetmargin_service.selection.recommend import recommend
from sheetmargin_service.selection.version import model_version
from sheetmargin_service.serving import metrics
from sheetmargin_service.serving.catalogue_reload import install_swap
from sheetmargin_service.serving.concurrency_limits import install_work_limits, limited
from sheetmargin_service.serving.limits import install_limits
from sheetmargin_service.serving.logs import install_logs
from sheetmargin_service.serving.malformed_bodies import install_broken_bodies
from sheetmargin_service.serving.warm import warm_up
from sheetmargin_service.web import demo, embed, setup_sheets
from sheetmargin_service.web import docs as docs_pages
from sheetmargin_service.web.cors import install_cors
from sheetmargin_service.web.hosts import install_hosts

DESCRIPTION = (
    "Select and set up a double-sheet detector for given sheets: class, gap, tilt, band and expected misreads, "
    "calculated from physics. This is not a safety device. Do not use it to protect people."
)


def load_service(settings: Settings) -> Service:
    """Everything that answers are computed from; FieldError where the settings name what cannot be used."""
    try:
        catalogues = catalogues_of(read_files(dict(settings.catalogues)))
    except FieldError as error:
        raise wrong_setting("SHEETMARGIN_CATALOGUE", str(error)) from error
    library = load_library()
    try:
        stocks = stocks_of(dict(settings.stocks), library)
    except FieldError as error:
        raise wrong_setting("SHEETMARGIN_STOCK", str(error)) from error
    return Service(
        gate=gate_from(settings),
        catalogues=catalogues,
        default_catalogue=next(iter(catalogues)),
        stocks=stocks,
        library=library,
        recommend=recommend,
        principles=tuple(principles()),
        build=package_build(),
        model_version=model_version(),
    )


def create_app(
    settings: Settings | None = None,
    *,
    service: Service | None = None,
    catalogue: str | None = None,
    stock: str | None = None,
) -> Flask:
    """The WSGI application. Settings come from the environment, and the service from them, unless they are given.

    `catalogue` stands for SHEETMARGIN_CATALOGUE of the environment, `stock` for SHEETMARGIN_STOCK.
    """
    told = {"SHEETMARGIN_CATALOGUE": catalogue, "SHEETMARGIN_STOCK": stock}
    settings = settings or settings_from({**os.environ, **{name: value for name, value in told.items() if value}})
    service = service or load_service(settings)
    counts = metrics.new_metrics()
    computing = metrics.measured(limited(service.recommend, settings.time_limit_s, counts), counts)
    app = Flask("sheetmargin_service", static_folder=None, template_folder="api/templates")
    app.config["MAX_CONTENT_LENGTH"] = MAX_BODY
    app.config["TIME_LIMIT_S"], app.config["BATCH_TIME_LIMIT_S"] = settings.time_limit_s, settings.batch_time_limit_s
    app.json.sort_keys = False  # type: ignore[attr-defined]
    app.url_map.merge_slashes = False
    install_headers(app)
    install_compression(app)
    install_logs(app)
    if settings.telemetry:
        # An extra, and slow to load: only where it is asked for.
        from sheetmargin_service.serving.telemetry import install_telemetry, sending_tracer

        computing = install_telemetry(app, computing, sending_tracer())
    service = replace(service, recommend=computing)
    app.extensions["sheetmargin"] = service
    install_kept_answers(app)
    problems.handle_problems(app)
    install_broken_bodies(app)
    parts = [
        recommendations.routes,
        batch.routes,
        library.routes,
        probes.routes,
        docs.routes,
        embed.routes,
        setup_sheets.routes,
        docs_pages.routes,
    ]
    parts += [measurement.routes, metrics.routes]
    if settings.demo:
        parts.append(demo.routes)
    document = mount(app, *parts, title="sheetmargin", version=library.API_VERSION, description=DESCRIPTION)
    openapi.publish(app, document, service)
    install_swap(app, dict(settings.catalogues), dict(settings.stocks))
    install_cors(app, settings.origins)
    metrics.install_metrics(app, counts)
    install_work_limits(app, settings, counts)
    install_limits(app, settings)
    install_hosts(app, settings.hosts)
    return app


def serve() -> Flask:
    """The application as gunicorn forks it: made ready to answer at once. A wrong setting ends the process."""
    try:
        settings = settings_from()
        service = load_service(settings)
        app = create_app(settings, service=service)
    except FieldError as error:
        sys.exit(f"Error: {error}")
    warm_up(service)
    return app
