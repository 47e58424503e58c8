"""From the bytes of a request to what its schema makes of them, or a problem that says where they are wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Request
from marshmallow import ValidationError, fields
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import RequestEntityTooLarge

from sheetmargin_service.api import strict_json
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.schemas.strict import Flag, Real, StrictSchema, faults_in
from sheetmargin_service.errors import Filled

JSON = "application/json"
_NUMBER = re.compile(r"-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?", re.ASCII)


def decode_body(request: Request, schema: StrictSchema) -> Any:
    """What the schema makes of a JSON body."""
    return decode_json(read_body(request, (JSON,)), schema)


def read_body(request: Request, media_types: Sequence[str]) -> bytes:
    """The whole body, of one of these media types."""
    if request.mimetype not in media_types:
        told = Filled("The body is {type}.", type=request.mimetype or "of no stated type")
        raise _unsupported("Content-Type", told, " or ".join(media_types))
    if request.content_encoding not in (None, "", "identity"):
        raise _unsupported(
            "Content-Encoding",
            Filled("The body is encoded as {encoding}.", encoding=request.content_encoding),
            "no content encoding",
        )
    body = request.get_data(cache=False)
    if request.content_length is None and len(body) == request.max_content_length:
        # Werkzeug cuts a body of unstated length at the limit without a word.
        raise RequestEntityTooLarge
    return body


def decode_json(body: bytes, schema: StrictSchema) -> Any:
    """What the schema makes of JSON text."""
    try:
        value = strict_json.loads(body)
    except strict_json.JsonError as error:
        raise Problem("bad-syntax", *error.faults) from error
    return decode_value(value, schema)


def decode_value(value: Any, schema: StrictSchema) -> Any:
    """What the schema makes of a JSON value."""
    if not isinstance(value, dict):
        fault = Fault(code="wrong-type", detail="This value has the wrong type.", expected="an object", path=())
        raise Problem("invalid-values", fault)
    return _load(value, schema, in_query=False)


def decode_query(query: MultiDict[str, str], schema: StrictSchema | None) -> Any:
    """What the schema makes of query parameters: texts that spell a number or a flag are one where the field wants it.

    Without a schema no parameter is allowed.
    """
    if schema is None:
        if query:
            raise Problem("invalid-values", *(_no_parameter(name) for name in list(query)[:20]), in_query=True)
        return None
    values: dict[str, Any] = {}
    twice = []
    for name, texts in query.lists():
        field = schema.load_fields.get(name)
        if isinstance(field, fields.List):
            values[name] = texts
        elif len(texts) > 1 and field is not None:
            twice.append(
                Fault(code="repeated", detail="Give this parameter once only.", expected="one value", path=(name,))
            )
        else:
            values[name] = _spelt(texts[0], field)
    if twice:
        raise Problem("invalid-values", *twice, in_query=True)
    return _load(values, schema, in_query=True)


def _load(values: Mapping[str, Any], schema: StrictSchema, *, in_query: bool) -> Any:
    try:
        return schema.load(values)
    except ValidationError as error:
        raise Problem("invalid-values", *faults_in(error.messages), in_query=in_query) from error


def _spelt(text: str, field: fields.Field[Any] | None) -> Any:
    if isinstance(field, Real) and _NUMBER.fullmatch(text):
        return float(text)
    if isinstance(field, Flag) and text in ("true", "false"):
        return text == "true"
    return text


def _no_parameter(name: str) -> Fault:
    return Fault(code="unknown-field", detail="This call has no parameters.", expected="no query", path=(name,))


def _unsupported(header: str, detail: str, expected: str) -> Problem:
    fault = Fault(code="media-type", detail=detail, expected=expected, header=header)
    return Problem("unsupported-media-type", fault, headers={"Accept": JSON})
