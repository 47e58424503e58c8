"""The client's dataclasses against the published description: no field missing, none invented, at any depth."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import Any, get_args, get_type_hints

import pytest
from sheetmargin import (
    Answer,
    Catalogue,
    DetectorClass,
    Diagnosis,
    DiagnosisQuestion,
    Fault,
    Fit,
    FitQuestion,
    Job,
    Material,
    Prediction,
    PredictionQuestion,
    Version,
)
from support.description import DESCRIPTION


def resolved(schema: Any) -> Any:
    """The schema itself, behind references and beside `null`."""
    if "$ref" in schema:
        *_, kind, name = schema["$ref"].split("/")
        return resolved(DESCRIPTION["components"][kind][name])
    for several in ("anyOf", "oneOf", "allOf"):
        if several in schema:
            parts = [part for part in schema[several] if part.get("type") != "null"]
            # Several parts are told apart by their type; each is tested where it is decoded.
            return resolved(parts[0]) if len(parts) == 1 else {}
    return schema


def body(path: str, method: str) -> Any:
    return resolved(DESCRIPTION["paths"][path][method]["requestBody"]["content"]["application/json"]["schema"])


def answer(path: str, *, method: str = "get", status: str = "200", media_type: str = "application/json") -> Any:
    response = resolved(DESCRIPTION["paths"][path][method]["responses"][status])
    return resolved(response["content"][media_type]["schema"])


def dataclass_within(hint: Any) -> type | None:
    """The dataclass in a type such as `tuple[Layer, ...] | None`."""
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return hint
    return next((found for part in get_args(hint) if (found := dataclass_within(part))), None)


def differences(kind: Any, schema: Any, place: str) -> Iterator[str]:
    """Names on one side alone, at this place and below."""
    properties = schema.get("properties", {})
    fields = {field.metadata.get("key", field.name): field.name for field in dataclasses.fields(kind)}
    for name in sorted(properties.keys() ^ fields.keys()):
        yield f"{place}/{name}: {'only in the client' if name in fields else 'missing from the client'}"
    hints = get_type_hints(kind)
    for name in sorted(properties.keys() & fields.keys()):
        part = resolved(properties[name])
        part = resolved(part["items"]) if part.get("type") == "array" else part
        inner = dataclass_within(hints[fields[name]])
        if "properties" in part:
            assert inner, f"{place}/{name} is an object, but not in the client"
            yield from differences(inner, part, f"{place}/{name}")


@pytest.mark.parametrize(
    ("kind", "schema"),
    [
        (Job, body("/v1/recommendations", "post")),
        (Answer, answer("/v1/recommendations", method="post")),
        (Material, resolved(answer("/v1/materials")["properties"]["materials"]["items"])),
        (DetectorClass, resolved(answer("/v1/detector-classes")["properties"]["classes"]["items"])),
        (Catalogue, resolved(answer("/v1/catalogues")["properties"]["catalogues"]["items"])),
        (Version, answer("/v1/version")),
        (PredictionQuestion, body("/v1/predictions", "post")),
        (Prediction, answer("/v1/predictions", method="post")),
        (FitQuestion, body("/v1/fits", "post")),
        (Fit, answer("/v1/fits", method="post")),
        (DiagnosisQuestion, body("/v1/diagnoses", "post")),
        (Diagnosis, answer("/v1/diagnoses", method="post")),
        (
            Fault,
            resolved(
                answer("/v1/recommendations", method="post", status="422", media_type="application/problem+json")[
                    "properties"
                ]["errors"]["items"]
            ),
        ),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_fields_are_those_of_the_contract(kind: type, schema: Any) -> None:
    assert "properties" in schema
    assert list(differences(kind, schema, "")) == []
