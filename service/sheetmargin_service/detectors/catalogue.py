"""Catalogues: named, versioned sets of detector classes read from a table."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib import resources
from typing import Any

from sheetmargin_service.detectors.model import DetectorClass, Housing, OrderLine, UltrasonicParameters

PARAMETERS: Mapping[str, type] = {"ultrasonic": UltrasonicParameters}
"""The parameter table of each principle. A new principle adds its dataclass here."""


class CatalogueError(ValueError):
    """A table that does not describe detector classes: which key, what is wrong."""


@dataclass(frozen=True, kw_only=True)
class Catalogue:
    """Detector classes that one answer may draw on. `version` is a hash of the content."""

    name: str
    version: str
    classes: tuple[DetectorClass, ...]


def _build(kind: type, values: Mapping[str, Any], *, where: str) -> Any:
    known = {f.name for f in fields(kind)}
    unknown = sorted(set(values) - known)
    if unknown:
        raise CatalogueError(f"{where}: unknown key {unknown[0]!r}; expected some of {sorted(known)}")
    try:
        return kind(**values)
    except TypeError as error:
        raise CatalogueError(f"{where}: {error}") from error


def _check_ultrasonic(parameters: UltrasonicParameters, *, where: str) -> None:
    p = parameters
    rules = {
        "frequency_hz between 20e3 and 1e6": 20e3 <= p.frequency_hz <= 1e6,
        "bandwidth_hz above 0 and below half the frequency": 0 < p.bandwidth_hz < p.frequency_hz / 2,
        "face_reflection from 0 to below 1": 0 <= p.face_reflection < 1,
        "drive gated or continuous": p.drive in ("gated", "continuous"),
        "gate_us for a gated class, none for a continuous one": (p.gate_us is not None) == (p.drive == "gated"),
        "0 < gap_min_mm <= reference_gap_mm <= gap_max_mm": 0 < p.gap_min_mm <= p.reference_gap_mm <= p.gap_max_mm,
        "face_radius_mm above 0": p.face_radius_mm > 0,
        "overload_db below noise_db": p.overload_db < p.noise_db,
        "span_db and gain_range_db not negative": p.span_db > 0 and p.gain_range_db >= 0,
    }
    for rule, holds in rules.items():
        if not holds:
            raise CatalogueError(f"{where}: expected {rule}")


def _class(entry: Mapping[str, Any], *, defaults: Mapping[str, Any], source: str) -> DetectorClass:
    where = f"class {entry.get('id', '?')}"
    values = {**defaults, **entry}
    principle = values.get("principle")
    if principle not in PARAMETERS:
        raise CatalogueError(f"{where}: unknown principle {principle!r}; expected one of {sorted(PARAMETERS)}")
    parameters = dict(values.get("parameters", {}))
    if principle == "ultrasonic":
        parameters.setdefault("gate_us", None)
    built = _build(PARAMETERS[principle], parameters, where=f"{where} parameters")
    if isinstance(built, UltrasonicParameters):
        _check_ultrasonic(built, where=where)
    order = tuple(
        _build(OrderLine, {"part_number": None, **line}, where=f"{where} order") for line in values.get("order", [])
    )
    housing = _build(Housing, {"pitch_mm": None, **values["housing"]}, where=f"{where} housing")
    values |= {"parameters": built, "order": order, "housing": housing, "output": tuple(values["output"])}
    result: DetectorClass = _build(DetectorClass, {"illustrative": True, "source": source, **values}, where=where)
    return result


def parse_catalogue(*, name: str, text: str) -> Catalogue:
    """Read a catalogue from TOML text; CatalogueError names the class and key that is wrong."""
    table = tomllib.loads(text)
    classes = tuple(
        _class(entry, defaults=table.get("defaults", {}), source=table.get("source", ""))
        for entry in table.get("class", [])
    )
    ids = [c.id for c in classes]
    if not ids or len(set(ids)) != len(ids):
        raise CatalogueError(f"catalogue {name}: expected at least one class and no id twice, got {ids}")
    return Catalogue(name=name, version=hashlib.sha256(text.encode()).hexdigest()[:16], classes=classes)


@cache
def reference_catalogue() -> Catalogue:
    """The illustrative classes that ship with the service."""
    text = (resources.files(__package__) / "data" / "reference.toml").read_text(encoding="utf-8")
    return parse_catalogue(name="reference", text=text)
