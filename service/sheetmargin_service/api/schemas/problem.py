"""The shape of problems, for the published description; problems.py writes them."""

from __future__ import annotations

from marshmallow import fields

from sheetmargin_service.api.schemas.output import OutputSchema, listing, string, whole


def _optional(description: str) -> fields.String:
    return fields.String(metadata={"description": description})


class ProblemErrorSchema(OutputSchema):
    """One thing that is wrong, with its place: `pointer`, `parameter`, `header`, or `line` and `column`."""

    code = string("Stable code.")
    detail = string("What is wrong.")
    pointer = _optional("JSON pointer into the body.")
    parameter = _optional("Name of the query parameter.")
    header = _optional("Name of the request header.")
    line = fields.Integer(metadata={"description": "Line of the body, from 1."})
    column = fields.Integer(metadata={"description": "Column of the line, from 1."})
    expected = _optional("What would be right.")
    suggestions = fields.List(fields.String(), metadata={"description": "Names that may have been meant."})


class ProblemSchema(OutputSchema):
    """An RFC 9457 problem."""

    type = string("Path at which this kind of problem is described.")
    title = string("The kind of problem.")
    status = whole("HTTP status.")
    detail = string("What is wrong.")
    request_id = string("Name of the request, also in `X-Request-Id`.")
    errors = listing(ProblemErrorSchema, "Each thing that is wrong.")
