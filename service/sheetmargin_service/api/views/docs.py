"""The API's description for machines: OpenAPI, and the JSON Schema of a catalogue. For people: `web/docs.py`."""

from __future__ import annotations

import hashlib

from flask import Response

from sheetmargin_service.api import openapi
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.service import current_service
from sheetmargin_service.api.stock import stock_schema
from sheetmargin_service.detectors.schema import shipped_schema

SCHEMA = "application/schema+json"

routes = Routes("description", "Description of the API, for programs.")


@routes.get("/openapi.json", Call(scope="open", cached=True))
def show_openapi() -> Response:
    """OpenAPI 3.1 description of every call."""
    return _cached(json_bytes(openapi.description()), JSON)


@routes.get("/schemas/catalogue.json", Call(scope="open", media_type=SCHEMA, cached=True))
def show_catalogue_schema() -> Response:
    """JSON Schema of a catalogue file, which `SHEETMARGIN_CATALOGUE` names."""
    return _cached(shipped_schema(), SCHEMA)


@routes.get("/schemas/stock.json", Call(scope="open", media_type=SCHEMA, cached=True))
def show_stock_schema() -> Response:
    """JSON Schema of a stock of sheets in TOML, which `SHEETMARGIN_STOCK` names."""
    return _cached(json_bytes(stock_schema(openapi.description())), SCHEMA)


def _cached(body: bytes, media_type: str) -> Response:
    etag = strong_etag(current_service().build, media_type, hashlib.sha256(body).hexdigest())
    return cacheable(lambda: body, etag=etag, language="en", keyed=False, media_type=media_type)
