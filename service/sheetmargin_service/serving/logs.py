"""Logs for machines: one JSON object a line, with the request's name and its trace.

The query is never logged: it may hold a key. Neither is the caller's address: a proxy's log has it where it is wanted.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from flask import Flask, Response, g, has_request_context, request

from sheetmargin_service.serving.trace import HEADER, Trace, trace_of

ACCESS = "sheetmargin.access"

log = logging.getLogger(ACCESS)
_encode = json.JSONEncoder(ensure_ascii=True, default=str).encode


class JsonFormatter(logging.Formatter):
    """A record as one line of JSON; `extra={"fields": {...}}` adds to it."""

    def format(self, record: logging.LogRecord) -> str:
        fields: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            "process": record.process,
            **_request_fields(),
            **getattr(record, "fields", {}),
        }
        if record.exc_info:
            fields["exception"] = self.formatException(record.exc_info)
        return _encode(fields)


def logging_config(level: str = "INFO") -> Mapping[str, Any]:
    """For logging.config: everything to standard error as JSON. Gunicorn's own access log has no request ids.

    Of libraries warnings alone: what they tell beside may be as long as an answer, or hold a caller's address.
    """
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": {"()": f"{__name__}.{JsonFormatter.__name__}"}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
        "root": {"level": "WARNING", "handlers": ["stderr"]},
        "loggers": {
            "sheetmargin": {"level": level},
            "sheetmargin_service": {"level": level},
            "gunicorn.error": {"level": level, "propagate": True, "handlers": []},
            "gunicorn.access": {"level": "CRITICAL", "propagate": False, "handlers": []},
            # It sets its own level unless it has a handler.
            "weasyprint": {"level": "ERROR", "propagate": False, "handlers": ["stderr"]},
        },
    }


def install_logs(app: Flask) -> None:
    """Give every request its trace, and log it when its answer has been sent or given up."""

    def begin() -> None:
        g.trace = trace_of(request.headers.get(HEADER))
        g.begun = time.perf_counter()

    def end(response: Response) -> Response:
        fields = _request_fields() | {
            "method": request.method,
            "path": request.path,
            "route": route_of_request(),
            "status": response.status_code,
        }
        begun: float = g.begun

        response.call_on_close(lambda: _log_request(fields, seconds=time.perf_counter() - begun))
        return response

    app.before_request(begin)
    app.after_request(end)


def _log_request(fields: Mapping[str, Any], *, seconds: float) -> None:
    """One line for an answered request."""
    if log.isEnabledFor(logging.INFO):
        # As log.info does, but for a walk up the stack to the caller, which no line names.
        extra = {"fields": {**fields, "seconds": round(seconds, 6)}}
        log.handle(log.makeRecord(ACCESS, logging.INFO, "", 0, "request", (), None, extra=extra))


def route_of_request() -> str:
    """The declared path of the request, or `none`: a caller cannot make up new ones."""
    return request.url_rule.rule if request.url_rule is not None else "none"


def _request_fields() -> dict[str, Any]:
    """What a log line says of which request it is about."""
    if not has_request_context() or "trace" not in g:
        return {}
    trace: Trace = g.trace
    fields = {"request_id": g.get("request_id"), "trace_id": trace.trace_id, "span_id": trace.span_id}
    return fields if trace.parent_id is None else fields | {"parent_id": trace.parent_id}
