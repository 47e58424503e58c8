"""JSON Schema of a catalogue file, from the dataclasses that it is read into: for editors, and for those who write one.

A copy ships with the package. Rules between numbers (a gap's least below its greatest) are checked when a catalogue is
read.
"""

from __future__ import annotations

import json
from dataclasses import MISSING, is_dataclass
from importlib import resources
from types import NoneType, UnionType
from typing import Any, Literal, get_args, get_origin, get_type_hints

from sheetmargin_service.detectors.catalogue import MOST_CLASSES
from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.ingress import RATING
from sheetmargin_service.detectors.model import DetectorClass, Housing, OrderLine
from sheetmargin_service.detectors.parameters import Kinds
from sheetmargin_service.tables import LARGEST, table_fields

DIALECT = "https://json-schema.org/draft/2020-12/schema"
FILE = "catalogue.schema.json"

Shape = dict[str, Any]

_PLAIN: dict[type, Shape] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer", "maximum": LARGEST},
    float: {"type": "number", "minimum": -LARGEST, "maximum": LARGEST},
}
_MORE: dict[tuple[type, str], Shape] = {
    (DetectorClass, "id"): {"pattern": "^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$"},
    (DetectorClass, "ingress"): {"pattern": f"^{RATING}$", "examples": ["IP65", "IP66/IP67"]},
    (DetectorClass, "output"): {"minItems": 1, "examples": [["pnp", "push-pull"]]},
    (DetectorClass, "supply"): {"examples": ["24 V DC"]},
    (DetectorClass, "order"): {"minItems": 1},
    (Housing, "thread"): {"examples": ["M18", "rectangular"]},
    (Housing, "length_mm"): {"exclusiveMinimum": 0},
    (Housing, "width_mm"): {"exclusiveMinimum": 0},
    (Housing, "cable_exit_mm"): {"minimum": 0},
    (OrderLine, "role"): {
        "pattern": r"\S",
        "examples": ["emitter", "receiver", "evaluation-unit", "bracket", "cable"],
    },
    (Demands, "effort"): {"minimum": 1, "maximum": 5},
    (Demands, "price"): {"minimum": 0},
    (Demands, "currency"): {"pattern": "^[A-Z]{3}$", "examples": ["EUR"]},
    (Demands, "stock"): {"minimum": 0},
    (OrderLine, "quantity"): {"minimum": 1},
    (OrderLine, "serves_lanes"): {"minimum": 1},
}
"""What the type of a field does not say."""
_BOUNDS = {"gt": "exclusiveMinimum", "ge": "minimum", "lt": "exclusiveMaximum", "le": "maximum"}
_PITCH: Shape = {
    "if": {"properties": {"thread": {"const": "rectangular"}}, "required": ["thread"]},
    "then": {"not": {"required": ["pitch_mm"]}},
    "else": {"required": ["pitch_mm"]},
}
"""A thread has a pitch."""
_ELSEWHERE = ("id", "parameters", "source")
"""What each class gives itself, what is filled, and what may stand at the head of the file."""


def catalogue_schema(kinds: Kinds) -> Shape:
    """The schema: a class may leave out what `defaults` gives, and parameters that nobody knows."""
    one, defaults = _object(DetectorClass), _object(DetectorClass)
    for shape in (one, defaults):
        shape["properties"]["principle"]["enum"] = sorted(kinds)
    one["required"] = ["id"]
    one["allOf"] = [
        {
            "if": {"properties": {"principle": {"const": principle}}, "required": ["principle"]},
            "then": {"properties": {"parameters": {"$ref": f"#/$defs/{kind.parameters.__name__}"}}},
        }
        for principle, kind in sorted(kinds.items())
    ]
    defaults["description"] = "What holds for every class that does not give it itself."
    described = sorted({kind.parameters for kind in kinds.values()}, key=lambda parameters: parameters.__name__)
    return {
        "$schema": DIALECT,
        "title": "A catalogue of detector classes",
        "description": "As TOML or as JSON. Parameters that are left out are taken from the nearest reference class.",
        "type": "object",
        "additionalProperties": False,
        "required": ["class"],
        "properties": {
            "$schema": {"type": "string", "description": "Where this schema is, for editors."},
            "source": {"type": "string", "description": "Where the numbers come from."},
            "defaults": defaults,
            "class": {"type": "array", "minItems": 1, "maxItems": MOST_CLASSES, "items": {"$ref": "#/$defs/Class"}},
        },
        "allOf": [_here_or_in_defaults(name) for name in _needed(DetectorClass) if name not in _ELSEWHERE],
        "$defs": {
            "Class": one,
            "Demands": _object(Demands),
            "Housing": _object(Housing) | _PITCH,
            "OrderLine": _object(OrderLine),
            **{parameters.__name__: {**_object(parameters), "required": []} for parameters in described},
        },
    }


def shipped_schema() -> bytes:
    """The copy that ships with the package."""
    return (resources.files(__package__) / "data" / FILE).read_bytes()


def _object(kind: type[Any]) -> Shape:
    hints = get_type_hints(kind)
    fields = table_fields(kind)
    described = {
        name: {**_shape(hints[name]), **_MORE.get((kind, name), {})} for name in fields if name != "parameters"
    }
    if "parameters" in fields:
        described["parameters"] = {"type": "object"}
    for name, field in fields.items():
        described[name] |= {words: field.metadata[bound] for bound, words in _BOUNDS.items() if bound in field.metadata}
        if field.default is not MISSING and field.default is not None and not is_dataclass(field.default):
            described[name]["default"] = field.default
    return {
        "description": " ".join((kind.__doc__ or "").split()),
        "type": "object",
        "additionalProperties": False,
        "properties": described,
        **({"required": _needed(kind)} if kind is not DetectorClass else {}),
    }


def _needed(kind: type[Any]) -> list[str]:
    return [
        name
        for name, field in table_fields(kind).items()
        if field.default is MISSING and field.default_factory is MISSING
    ]


def _here_or_in_defaults(name: str) -> Shape:
    in_defaults: Shape = {"required": ["defaults"], "properties": {"defaults": {"required": [name]}}}
    return {"anyOf": [in_defaults, {"properties": {"class": {"items": {"required": [name]}}}}]}


def _shape(hint: Any) -> Shape:
    if get_origin(hint) is UnionType:
        return _shape(next(option for option in get_args(hint) if option is not NoneType))
    if get_origin(hint) is Literal:
        return {"type": "string", "enum": list(get_args(hint))}
    if get_origin(hint) is tuple:
        return {"type": "array", "items": _shape(get_args(hint)[0])}
    if is_dataclass(hint) and isinstance(hint, type):
        return {"$ref": f"#/$defs/{hint.__name__}"}
    return dict(_PLAIN[hint])


def written(kinds: Kinds) -> str:
    """The schema as it is shipped."""
    return json.dumps(catalogue_schema(kinds), indent=1, ensure_ascii=False) + "\n"
