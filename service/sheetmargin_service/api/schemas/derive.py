"""The schemas of the contract, made of its dataclasses: one a dataclass and direction.

That of a question refuses unknown names and loads into the dataclass; that of an answer lets them pass, and serves the
published description and the tests.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import MISSING, Field, fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from marshmallow import fields as wire
from sheetmargin.contract.fields import field_texts

from sheetmargin_service.api.faults import fault_codes
from sheetmargin_service.api.schemas.strict import (
    AnswerSchema,
    Choice,
    Flag,
    Listing,
    OneOf,
    Part,
    Real,
    Shaped,
    StrictSchema,
    Table,
    Text,
    Whole,
)
from sheetmargin_service.materials.corrugated import load_flutes
from sheetmargin_service.materials.sizes import GAUGES, basis_names
from sheetmargin_service.messages.say import texts

VOCABULARIES: Mapping[str, Callable[[], Sequence[str]]] = {
    "bases": basis_names,
    "flutes": lambda: tuple(load_flutes()),
    "gauges": lambda: GAUGES,
}
"""Names of tables, by what the contract calls them."""
CODES: Mapping[str, Callable[[], Iterable[str]]] = {"FaultCode": fault_codes, "NoteCode": texts}
"""Codes of answers, by the component of the description that lists them. A later service may have more."""
_BOUNDS = ("gt", "ge", "lt", "le")


@cache
def question_schema(kind: Any) -> type[StrictSchema]:
    """The schema that loads a question, or a part of one. Published under the name of its class with `Input`."""
    own_first = [name for each in kind.__mro__ for name in inspect.get_annotations(each)]
    members = {name: asked_field(kind, name) for name in own_first}
    name = f"{kind.__name__}Input"
    return type(name, (StrictSchema,), {"__doc__": kind.__doc__, "makes": kind, **members})


@cache
def answer_schema(kind: Any) -> type[AnswerSchema]:
    """The schema of an answer, or of a part of one."""
    hints, texts = get_type_hints(kind), field_texts(kind)
    members = {}
    for field in fields(kind):
        always = field.metadata.get("always")
        optional = _default_of(field) is not MISSING and not always
        made = _field(
            hints[field.name],
            field.metadata,
            answer_schema,
            description=texts[field.name],
            required=not optional,
            data_key=field.metadata.get("key"),
        )
        members[field.name] = made
    return type(kind.__name__, (AnswerSchema,), {"__doc__": kind.__doc__, **members})


def asked_field(kind: type[Any], name: str) -> wire.Field[Any]:
    """One field of a question, as its schema takes it."""
    (field,) = [field for field in fields(kind) if field.name == name]
    default = _default_of(field)
    rest = {"required": True} if default is MISSING else {"load_default": default}
    return _field(
        get_type_hints(kind)[name],
        field.metadata,
        question_schema,
        description=field_texts(kind)[name],
        nullable=default is not MISSING,
        **rest,
    )


def _default_of(field: Field[Any]) -> Any:
    assert field.default_factory is MISSING
    return field.default


def _field(
    hint: Any,
    told: Mapping[str, Any],
    schema_of: Callable[[Any], Any],
    *,
    description: str = "",
    nullable: bool = False,
    **rest: Any,
) -> wire.Field[Any]:
    """The field of a type and its metadata."""
    origin, inner = get_origin(hint), get_args(hint)
    asked = schema_of is question_schema
    if origin in (Union, UnionType):
        nullable = nullable or NoneType in inner
        some = [each for each in inner if each is not NoneType]
        if len(some) > 1:
            parts = [schema_of(each) for each in some if is_dataclass(each)]
            return OneOf(description, parts=parts, scalar=len(parts) < len(some), allow_none=nullable, **rest)
        hint, origin, inner = some[0], get_origin(some[0]), get_args(some[0])
    rest |= {"allow_none": nullable}
    if origin is Sequence:
        fewest, most = told.get("fewest", 0), told.get("most")
        return Listing(_field(inner[0], told, schema_of), description, shortest=fewest, longest=most, **rest)
    if origin is Mapping:
        return Table(_field(inner[1], told, schema_of), description, **rest)
    if origin is Literal:
        return Choice(description, among=inner, **rest)
    if "vocabulary" in told and asked:
        return Choice(description, among=VOCABULARIES[told["vocabulary"]](), **rest)
    if is_dataclass(hint):
        return Part(schema_of(hint), description, **rest)
    if hint in (int, float):
        number = Whole if hint is int else Real
        bounds = {name: told[name] for name in _BOUNDS if name in told} if asked else {}
        return number(description, **bounds, decimals=told.get("decimals"), unit=told.get("unit"), **rest)
    if hint is bool:
        return Flag(description, **rest)
    if "shape" in told and asked:
        return Shaped(description, shape=told["shape"], expected=told["expected"], **rest)
    assert hint is str
    if not asked:
        codes = told["vocabulary"] if told.get("vocabulary") in CODES else None
        return Text(description, shortest=0, longest=None, codes=codes, **rest)
    return Text(description, longest=told.get("longest", 80), **rest)
