"""What the service knows: materials, detector classes, catalogues, and its own versions."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, TypeVar

from flask import Response, request
from sheetmargin.contract import library as told

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.caching import cacheable
from sheetmargin_service.api.canonical import strong_etag
from sheetmargin_service.api.decode import JSON
from sheetmargin_service.api.encode import encode, json_bytes
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.resolve_job import unknown_catalogue
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.derive import answer_schema
from sheetmargin_service.api.schemas.query import ClassesQuery, MaterialsQuery, SheetTextQuery
from sheetmargin_service.api.service import current_service
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import Interval, Material, Porous
from sheetmargin_service.materials.sheet_text import Mark, Reading, read_sheet, written
from sheetmargin_service.messages.languages import Language
from sheetmargin_service.messages.problem_texts import in_language
from sheetmargin_service.principles import principle_of

API_VERSION = "1"
T = TypeVar("T")

routes = Routes("library", "Materials, detector classes and catalogues, each number with its source.")
OPEN = Call(scope="open", cached=True)
OWN = Call(scope="recommend", cached=True)
"""An owner's classes, with their part numbers, are for whoever may ask for recommendations of them."""


@routes.get("/v1/materials", OPEN, query=MaterialsQuery, answer=answer_schema(told.Materials))
def list_materials(asked: tuple[str, int]) -> Response:
    """List the materials of the library, or those whose names resemble `q`."""
    query, limit = asked
    language = wanted_language()
    found = [_material(match.material, language) for match in current_service().library.search(query, limit)]
    return _cached(told.Materials(query=query, materials=found))


@routes.get("/v1/sheets", OPEN, query=SheetTextQuery, answer=answer_schema(told.SheetReadings))
def read_sheet_text(asked: tuple[str, Mark, Language]) -> Response:
    """Read a text about a sheet as one would order it, in English or German."""
    text, mark, language = asked
    library = current_service().library
    found = [_reading(one, library, language) for one in read_sheet(text, library=library, decimal_mark=mark)]
    return _cached(told.SheetReadings(text=text, readings=found), mark, language)


@routes.get("/v1/detector-classes", OWN, query=ClassesQuery, answer=answer_schema(told.DetectorClasses))
def list_detector_classes(asked: str | None) -> Response:
    """List the detector classes of a catalogue."""
    catalogues = current_service().catalogues
    name = asked or current_service().default_catalogue
    if name not in catalogues:
        raise Problem("invalid-values", unknown_catalogue(name, catalogues), in_query=True)
    catalogue = catalogues[name]
    classes = [_detector_class(found) for found in catalogue.classes]
    document = told.DetectorClasses(catalogue=name, catalogue_version=catalogue.version, classes=classes)
    return _cached(document, catalogue.version, keyed=current_service().gate.keyed)


@routes.get("/v1/catalogues", OWN, answer=answer_schema(told.Catalogues))
def list_catalogues() -> Response:
    """List the catalogues of detector classes."""
    catalogues = [
        told.Catalogue(
            name=name,
            version=catalogue.version,
            classes=len(catalogue.classes),
            illustrative=any(c.illustrative for c in catalogue.classes),
            default=name == current_service().default_catalogue,
        )
        for name, catalogue in sorted(current_service().catalogues.items())
    ]
    versions = (f"{c.name}={c.version}" for c in catalogues)
    return _cached(told.Catalogues(catalogues=catalogues), *versions, keyed=current_service().gate.keyed)


@routes.get("/v1/stocks", OWN, answer=answer_schema(told.Stocks))
def list_stocks() -> Response:
    """List the stocks of the owner's sheets."""
    stocks = [
        told.Stock(name=name, version=stock.version, articles=len(stock.sheets))
        for name, stock in current_service().stocks.items()
    ]
    versions = (f"{one.name}={one.version}" for one in stocks)
    return _cached(told.Stocks(stocks=stocks), *versions, keyed=current_service().gate.keyed)


@routes.get("/v1/version", OPEN, answer=answer_schema(told.Version))
def show_version() -> Response:
    """Versions of the contract, the service and its model."""
    service = current_service()
    document = told.Version(
        api=API_VERSION, build=service.build, model_version=service.model_version, principles=service.principles
    )
    return _cached(document)


def _material(found: Material, language: Language) -> told.Material:
    return _told(
        told.Material,
        found,
        name=found.name[language],
        synonyms=found.synonyms[language],
        density_kg_m3=_told(told.Interval, found.density_kg_m3),
        elastic={
            name: _interval(constant, found.elastic.source) if isinstance(constant, Interval) else constant
            for name, constant in vars(found.elastic).items()
            if name not in ("kind", "source")
        },
        loss_factor=_told(told.Interval, found.loss_factor),
        mass_tolerance_pct=found.mass.tolerance_pct,
        formation_pct=found.mass.formation_pct,
        thickness_range_um=found.thickness_um.range,
        trapped_air=_told(told.MaterialTrappedAir, found.trapped_air),
        porous=None if found.porous is None else _porous(found.porous),
    )


def _reading(found: Reading, library: Library, language: Language) -> told.SheetReading:
    sheet, fault = found.sheet, found.fault
    return told.SheetReading(
        text=written(found, library=library, language=language),
        certain=found.certain,
        sheet=found.spec if sheet else None,
        grammage_gsm=sheet.grammage_gsm if sheet else None,
        thickness_um=sheet.thickness_um if sheet else None,
        detail=in_language(fault.detail, language) if fault else None,
        expected=in_language(fault.expected, language) if fault else None,
    )


def _porous(found: Porous) -> told.Porous:
    return _told(told.Porous, found, permeance_um_per_pa_s=_interval(found.permeance_um_per_pa_s, found.source))


def _interval(found: Interval, source: str) -> told.Interval:
    return _told(told.Interval, found, source=source)


def _detector_class(found: DetectorClass) -> told.DetectorClass:
    principle, p = principle_of(found), found.parameters
    (gap_min_mm, gap_max_mm), frequency_hz = principle.gap_limits_mm(p), principle.frequency_hz(p)
    return _told(
        told.DetectorClass,
        found,
        gap_min_mm=gap_min_mm,
        gap_max_mm=gap_max_mm,
        frequency_khz=None if frequency_hz is None else 1e-3 * frequency_hz,
        housing=_told(told.Housing, found.housing),
        demands=_told(told.Demands, found.demands),
        parameters=dict(_in_khz(name, value) for name, value in vars(p).items()),
        filled=None if found.filled is None else _told(told.Filled, found.filled),
        order=[_told(told.OrderLine, line) for line in found.order],
    )


def _told(kind: type[T], found: object, **others: Any) -> T:
    """A part of the contract from what has the same names here."""
    names = [field.name for field in fields(kind) if field.name not in others]  # type: ignore[arg-type]
    own = {name: getattr(found, name) for name in names}
    return kind(**own, **others)


def _in_khz(name: str, value: Any) -> tuple[str, Any]:
    return (f"{name.removesuffix('_hz')}_khz", 1e-3 * value) if name.endswith("_hz") else (name, value)


def _cached(document: object, *versions: str, keyed: bool = False) -> Response:
    language = wanted_language()
    question = [request.path, *(f"{name}={value}" for name, value in sorted(request.args.items(multi=True)))]
    service = current_service()
    etag = strong_etag(service.build, service.model_version, JSON, language, *versions, *question)
    return cacheable(lambda: json_bytes(encode(document, language=language)), etag=etag, language=language, keyed=keyed)
