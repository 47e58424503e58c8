"""Logs are JSON, one line a request, under the caller's trace."""

from __future__ import annotations

import io
import json
import logging
import logging.config
import re
from collections.abc import Iterator
from contextlib import redirect_stderr
from dataclasses import replace

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from sheetmargin_service.serving.logs import ACCESS, JsonFormatter, logging_config
from sheetmargin_service.serving.trace import trace_of
from support.apps import app_of

TRACE, SPAN = "0af7651916cd43dd8448eb211c80319c", "b7ad6b7169203331"
QUERY = "/v1/recommendations?material=copy-paper&grammage_gsm=80&key=secret"


def logged(records: list[logging.LogRecord]) -> list[dict[str, object]]:
    return [json.loads(JsonFormatter().format(record)) for record in records if record.name == ACCESS]


def test_a_request_is_one_line(api: FlaskClient, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    response = api.get(QUERY, buffered=True, headers={"X-Request-Id": "line-4", "traceparent": f"00-{TRACE}-{SPAN}-01"})
    (line,) = logged(caplog.records)
    assert response.status_code == 200
    told = {name: line[name] for name in ("request_id", "trace_id", "parent_id", "method", "route", "status", "level")}
    assert told == {
        "request_id": "line-4",
        "trace_id": TRACE,
        "parent_id": SPAN,
        "method": "GET",
        "route": "/v1/recommendations",
        "status": 200,
        "level": "info",
    }
    assert re.fullmatch("[0-9a-f]{16}", str(line["span_id"]))
    assert line["span_id"] != SPAN
    assert float(str(line["seconds"])) > 0.0
    assert "secret" not in json.dumps(line)


def test_an_unknown_path_is_no_route(api: FlaskClient, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    api.get("/made/up", buffered=True)
    (line,) = logged(caplog.records)
    assert (line["route"], line["status"], line["path"]) == ("none", 404, "/made/up")


def test_a_line_break_in_a_path_makes_no_second_line(api: FlaskClient, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    api.get("/made%0A%22up%22", buffered=True)
    (record,) = [record for record in caplog.records if record.name == ACCESS]
    assert "\n" not in JsonFormatter().format(record)


def test_a_failure_is_logged_with_its_request_and_told_to_nobody(caplog: pytest.LogCaptureFixture) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("inner workings")

    app = create_app(service=replace(load_service(Settings()), recommend=fail))
    response = app.test_client().get(QUERY.partition("&key")[0], buffered=True, headers={"X-Request-Id": "line-4"})
    assert response.status_code == 500
    assert b"inner workings" not in response.data
    (record,) = [record for record in caplog.records if record.exc_info]
    assert "line-4" in record.getMessage()
    assert "inner workings" in json.loads(JsonFormatter().format(record))["exception"]


@pytest.mark.parametrize(
    "header",
    [
        None,
        "",
        "x",
        f"00-{TRACE}-{SPAN}",
        f"00-{TRACE}-{SPAN}-01-more",
        f"ff-{TRACE}-{SPAN}-01",
        f"00-{'0' * 32}-{SPAN}-01",
        f"00-{TRACE}-{'0' * 16}-01",
        f"00-{TRACE.upper()}-{SPAN}-01",
        f"00-{TRACE}-{SPAN}-0g",
    ],
)
def test_a_trace_that_is_none_is_not_continued(header: str | None) -> None:
    trace = trace_of(header)
    assert trace.trace_id != TRACE
    assert trace.parent_id is None
    assert re.fullmatch("[0-9a-f]{32}", trace.trace_id)
    assert trace_of(header).trace_id != trace.trace_id


@pytest.mark.parametrize("header", [f"00-{TRACE}-{SPAN}-00", f"01-{TRACE}-{SPAN}-01-what-is-to-come"])
def test_a_valid_trace_goes_on(header: str) -> None:
    """W3C Trace Context, section 3.2.4: of a later version the known parts are read."""
    trace = trace_of(header)
    assert (trace.trace_id, trace.parent_id) == (TRACE, SPAN)


@pytest.fixture
def errors() -> Iterator[io.StringIO]:
    """What is logged, as the service is run, to standard error."""
    names = (None, "sheetmargin", "sheetmargin_service", "gunicorn.error", "gunicorn.access", "weasyprint")
    before = [(logger := logging.getLogger(name), logger.level, list(logger.handlers)) for name in names]
    with redirect_stderr(io.StringIO()) as told:
        logging.config.dictConfig(dict(logging_config()))
    yield told
    for logger, level, handlers in before:
        logger.setLevel(level)
        logger.handlers = handlers


def test_the_configuration_is_one_that_logging_takes(errors: io.StringIO) -> None:
    logging.getLogger("gunicorn.error").info("%s of two", 1, extra={"fields": {"more": 2}})
    logging.getLogger("gunicorn.access").info("not wanted")
    (line,) = errors.getvalue().splitlines()
    assert json.loads(line)["message"] == "1 of two"
    assert json.loads(line)["more"] == 2


def test_a_refusal_is_one_line_without_an_address(errors: io.StringIO) -> None:
    client = app_of(rate_per_address="1/minute").test_client()
    address = {"REMOTE_ADDR": "203.0.113.77"}
    for status in (200, 429):
        assert client.get("/v1/version", buffered=True, environ_overrides=address).status_code == status
    told = errors.getvalue()
    assert [json.loads(line)["status"] for line in told.splitlines()] == [200, 429]
    assert "203.0.113.77" not in told


def test_a_library_tells_its_warnings_alone(errors: io.StringIO) -> None:
    for name in ("fontTools.subset", "limits", "flask-limiter", "urllib3"):
        logging.getLogger(name).info("chatter")
        logging.getLogger(name).warning("look")
    # It warns of what it makes nothing of in our own style, with every page.
    logging.getLogger("weasyprint").warning("Expected a media type")
    assert [json.loads(line)["message"] for line in errors.getvalue().splitlines()] == ["look"] * 4
