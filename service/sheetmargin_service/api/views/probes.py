"""Is it alive, and can it compute?"""

from __future__ import annotations

import logging

from flask import Response
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.library import Status

from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.derive import answer_schema
from sheetmargin_service.api.service import Service, current_service
from sheetmargin_service.principles.catalogues import reference_catalogue

log = logging.getLogger(__name__)

routes = Routes("probes", "Probes for whoever runs the service.")

SELF_CHECK = Job(
    sheets=(SheetSpec(material="copy-paper", grammage_gsm=80),),
    classes=("ultrasonic-400k",),
    principles=("ultrasonic",),
)
"""One class alone: a probe comes every few seconds and must cost little."""
STORED_DB = (0.0, 46.5, 84.4)
"""Median of no sheet, of one and of two in its answer, as they were computed when the model was last changed. A test
holds them to what is computed now."""
TOLERANCE_DB = 0.5
"""Rounding may move the best gap by a step where two are nearly alike; what is broken moves levels by far more (a
choice)."""
RETRY_AFTER_S = 5


@routes.get("/livez", Call(scope="open"), answer=answer_schema(Status))
def check_alive() -> Response:
    """Whether the process is alive and answers."""
    return _ok()


@routes.get("/readyz", Call(scope="open", can_fail=("unavailable",)), answer=answer_schema(Status))
def check_ready() -> Response:
    """Whether the process is ready: the answer to a small job has the levels that are stored."""
    try:
        sound = _computes(current_service())
    except Exception:
        log.exception("self-check failed")
        sound = False
    if not sound:
        raise Problem("unavailable", detail="The self-check failed.", headers={"Retry-After": str(RETRY_AFTER_S)})
    return _ok()


def _computes(service: Service) -> bool:
    """Whether plain paper gets a recommendation with the stored levels."""
    answer = service.recommend(SELF_CHECK, catalogue=reference_catalogue(), library=service.library)
    signals = [result.signal for best in answer.recommendations for result in best.sheets]
    levels = [(s.no_sheet.p50, s.single.p50, s.double.p50) for s in signals]
    # Not a number is near nothing.
    return bool(levels) and all(
        abs(level - stored) <= TOLERANCE_DB for found in levels for level, stored in zip(found, STORED_DB, strict=True)
    )


def _ok() -> Response:
    response = Response(json_bytes({"status": "ok"}), content_type=JSON)
    response.headers["Cache-Control"] = "no-store"
    return response
