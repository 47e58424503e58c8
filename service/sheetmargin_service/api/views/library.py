"""What the service knows: materials, detector classes, catalogues, and its own versions."""

from __future__ import annotations

from typing import Any

from flask import Response, request
from marshmallow import Schema

from sheetmargin_service.api.admit import unknown_catalogue
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import json_bytes
from sheetmargin_service.api.languages import wanted_language
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.answer import Spoken
from sheetmargin_service.api.schemas.library import (
    CataloguesSchema,
    ClassesQuerySchema,
    ClassesSchema,
    MaterialsQuerySchema,
    MaterialsSchema,
    VersionSchema,
)
from sheetmargin_service.api.service import current_service

API_VERSION = "1"

routes = Routes("library", "Materials, detector classes and catalogues, each number with its source.")
OPEN = Call(scope="open", cached=True)


@routes.get("/v1/materials", OPEN, query=MaterialsQuerySchema, answer=MaterialsSchema)
def list_materials(asked: tuple[str, int]) -> Response:
    """Materials of the library, or those whose names resemble `q`."""
    query, limit = asked
    found = [match.material for match in current_service().library.search(query, limit)]
    return _cached(MaterialsSchema(), {"query": query, "materials": found})


@routes.get("/v1/detector-classes", OPEN, query=ClassesQuerySchema, answer=ClassesSchema)
def list_detector_classes(asked: str | None) -> Response:
    """Detector classes of a catalogue."""
    catalogues = current_service().catalogues
    name = asked or current_service().default_catalogue
    if name not in catalogues:
        raise Problem("invalid-values", unknown_catalogue(name, catalogues), in_query=True)
    catalogue = catalogues[name]
    document = {"catalogue": name, "catalogue_version": catalogue.version, "classes": catalogue.classes}
    return _cached(ClassesSchema(), document, catalogue.version)


@routes.get("/v1/catalogues", OPEN, answer=CataloguesSchema)
def list_catalogues() -> Response:
    """Catalogues of detector classes."""
    catalogues = [
        {
            "name": name,
            "version": catalogue.version,
            "classes": len(catalogue.classes),
            "illustrative": any(c.illustrative for c in catalogue.classes),
            "default": name == current_service().default_catalogue,
        }
        for name, catalogue in sorted(current_service().catalogues.items())
    ]
    versions = [f"{c['name']}={c['version']}" for c in catalogues]
    return _cached(CataloguesSchema(), {"catalogues": catalogues}, *versions)


@routes.get("/v1/version", OPEN, answer=VersionSchema)
def show_version() -> Response:
    """Versions of the contract, the service and its model."""
    service = current_service()
    document = {
        "api": API_VERSION,
        "build": service.build,
        "model_version": service.model_version,
        "principles": service.principles,
    }
    return _cached(VersionSchema(), document)


def _cached(schema: Schema, document: dict[str, Any], *versions: str) -> Response:
    language = wanted_language()

    def compute() -> bytes:
        with Spoken(language):
            return json_bytes(schema.dump(document))

    question = [request.path, *(f"{name}={value}" for name, value in sorted(request.args.items(multi=True)))]
    service = current_service()
    etag = strong_etag(service.build, service.model_version, JSON, language, *versions, *question)
    return cacheable(compute, etag=etag, language=language, keyed=False)
