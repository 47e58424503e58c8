"""The only module that knows flask-smorest and apispec: it declares calls and describes them in OpenAPI 3.1.

A call states its path, method, scope, schemas and media type once; the guard, the decoding and the published
description all follow from that statement.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from typing import Any, Literal

from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from flask import Flask, Response, request
from flask_smorest import Api, Blueprint
from marshmallow import RAISE, Schema
from marshmallow.fields import Field
from sheetmargin.contract import problem as contract
from webargs.flaskparser import FlaskParser
from werkzeug.datastructures import MultiDict

from sheetmargin_service.api import problems
from sheetmargin_service.api.access import Page
from sheetmargin_service.api.caching import kept_or
from sheetmargin_service.api.decode import JSON, decode_body, decode_query
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.keys import Key, Scope
from sheetmargin_service.api.problems import PROBLEM_TYPES, Problem
from sheetmargin_service.api.schemas.derive import CODES, answer_schema
from sheetmargin_service.api.schemas.strict import OneOf, Part, StrictSchema
from sheetmargin_service.api.service import current_service

View = Callable[..., Response]
MAX_BODY = 1 << 20

_HEADERS: Mapping[str, Mapping[str, Any]] = {
    "X-Request-Id": {"description": "Name of the request, which the log has too.", "schema": {"type": "string"}},
}
_RETRY_HEADERS: Mapping[str, Mapping[str, Any]] = {
    "Retry-After": {
        "description": "Time in seconds after which to send the request again.",
        "schema": {"type": "integer"},
    },
}
_CACHE_HEADERS: Mapping[str, Mapping[str, Any]] = {
    "ETag": {
        "description": "Strong entity tag of the answer (RFC 9110), for `If-None-Match`.",
        "schema": {"type": "string"},
    },
    "Cache-Control": {
        "description": "Who may store the answer, and for how long (RFC 9111).",
        "schema": {"type": "string"},
    },
    "Vary": {"description": "Request headers that the answer depends on.", "schema": {"type": "string"}},
}


@dataclass(frozen=True, kw_only=True)
class Call:
    """What a path and method do. `cached`: the answer carries a strong ETag. `also`: media types that may be asked for
    instead."""

    scope: Scope
    media_type: str = JSON
    also: tuple[str, ...] = ()
    max_body: int = MAX_BODY
    cached: bool = False
    can_fail: tuple[str, ...] = ()


class _Parser(FlaskParser):
    """Strict decoding in place of webargs' own."""

    def parse(self, argmap: Any, req: Any = None, *, location: str | None = None, **_: Any) -> Any:
        return decode_body(request, argmap) if location == "json" else decode_query(_asked(), argmap)


class _Blueprint(Blueprint):  # type: ignore[misc]
    ARGUMENTS_PARSER = _Parser()


class _Converter(OpenAPIConverter):  # type: ignore[misc]
    """Publishes what the schemas enforce: a field's own JSON Schema, and that no unknown name is taken.

    apispec alone writes an exclusive bound as an inclusive one, and drops additionalProperties from a schema that has a
    description.
    """

    def init_attribute_functions(self) -> None:
        super().init_attribute_functions()
        self.attribute_functions.insert(-1, self.own_schema)  # before the last, which makes the type nullable

    def own_schema(self, field: Field[Any], ret: dict[str, Any], **_: Any) -> dict[str, Any]:
        if isinstance(field, Part) or ret.get("default", "") is None:
            ret.pop("default", None)
        own: dict[str, Any] = field.json_schema() if hasattr(field, "json_schema") else {}
        if isinstance(field, OneOf) and field.parts:
            plain = [{"type": kind} for kind, may in (("number", field.scalar), ("null", field.allow_none)) if may]
            own["anyOf"] = [*map(self.resolve_nested_schema, field.parts), *plain]
        return own

    def schema2jsonschema(self, schema: Any) -> dict[str, Any]:
        described: dict[str, Any] = super().schema2jsonschema(schema)
        described["additionalProperties"] = schema.unknown != RAISE
        if schema.__doc__:
            described["description"] = " ".join(schema.__doc__.split())
        return described


class _Plugin(MarshmallowPlugin):  # type: ignore[misc]
    Converter = _Converter


class _Api(Api):  # type: ignore[misc]
    """flask-smorest without what it would add of its own: error shapes, ETag and pagination headers, its docs."""

    DEFAULT_ERROR_RESPONSE_NAME = None
    ERROR_SCHEMA = answer_schema(contract.Problem)

    def _nothing(self) -> None:
        pass

    _register_error_handlers = _register_etag_headers = _register_pagination_header = _register_doc_blueprint = _nothing


class Routes:
    """The calls of one subject."""

    def __init__(self, name: str, description: str) -> None:
        self.blueprint = _Blueprint(name, name, description=description)

    def get(
        self, path: str, call: Call, *, query: type[StrictSchema] | None = None, answer: type[Schema] | None = None
    ) -> Callable[[View], View]:
        """Declare a GET. The view takes what the query's schema makes."""
        return self._declare("GET", path, call, "query", query, answer)

    def post(
        self,
        path: str,
        call: Call,
        *,
        body: type[StrictSchema],
        answer: type[Schema] | None = None,
        query: type[StrictSchema] | None = None,
    ) -> Callable[[View], View]:
        """Declare a POST. The view takes what the schema of a query makes, then what that of the body does."""
        return self._declare("POST", path, call, "json", body, answer, beside=query)

    def post_many(
        self,
        path: str,
        call: Call,
        *,
        query: type[StrictSchema],
        bodies: Mapping[str, Any],
        answers: Mapping[str, Any],
    ) -> Callable[[View], View]:
        """Declare a POST whose view reads the body and writes the answer itself; for each media type, its shape. The
        view takes what the query's schema makes."""
        described = {
            "requestBody": {"required": True, "content": {kind: {"schema": shape} for kind, shape in bodies.items()}},
            "responses": {200: {"content": {kind: {"schema": shape} for kind, shape in answers.items()}}},
        }
        return self._declare("POST", path, call, "query", query, None, described)

    def _declare(
        self,
        method: Literal["GET", "POST"],
        path: str,
        call: Call,
        location: Literal["query", "json"],
        schema: type[StrictSchema] | None,
        answer: type[Schema] | None,
        described: Mapping[str, Any] | None = None,
        *,
        beside: type[StrictSchema] | None = None,
    ) -> Callable[[View], View]:
        takes_query = beside is not None or (location == "query" and schema is not None)

        def declare(view: View) -> View:
            handler: Any = view
            if schema is not None:
                handler = self.blueprint.arguments(schema(), location=location)(handler)
            if beside is not None:
                handler = self.blueprint.arguments(beside(), location="query")(handler)
            for kind in {*_failures(method, path, call, schema), *call.can_fail}:
                status = PROBLEM_TYPES[kind].status
                handler = self.blueprint.alt_response(
                    status,
                    schema=answer_schema(contract.Problem),
                    content_type=problems.MEDIA_TYPE,
                    description=PROBLEM_TYPES[kind].title,
                    headers={**_HEADERS, **(_RETRY_HEADERS if status in (429, 503) else {})},
                )(handler)
            if call.cached and method == "GET":
                handler = self.blueprint.alt_response(
                    304, description="The client holds this answer already", headers={**_HEADERS, **_CACHE_HEADERS}
                )(handler)
            handler = self.blueprint.response(
                200,
                answer if answer is not None else {"type": "object" if call.media_type.endswith("json") else "string"},
                content_type=call.media_type,
                headers={**_HEADERS, **(_CACHE_HEADERS if call.cached and method == "GET" else {})},
            )(handler)
            handler = self.blueprint.doc(
                operationId=view.__name__,
                description=_description(view, call),
                security=_security(call),
                # One object instead of a long row of arguments, where openapi-generator has the choice.
                **({"x-group-parameters": True} if takes_query else {}),
                **(described or {}),
            )(handler)
            handler = _guarded(handler, call, takes_query=takes_query)
            self.blueprint.route(path, methods=[method])(handler)
            return view

        return declare


def _description(view: View, call: Call) -> str:
    """The text below the view's first line, and who may call it."""
    _, _, text = inspect.cleandoc(view.__doc__ or "").partition("\n\n")
    scope = f"Where the service asks for keys, the key needs the scope `{call.scope}`."
    return " ".join([*text.split(), "Needs no key." if call.scope == "open" else scope])


def _security(call: Call) -> list[dict[str, list[str]]]:
    """What may come with the request; nothing at all where the service asks for no keys."""
    if call.scope == "open":
        return []
    publishable: list[dict[str, list[str]]] = [{"publishableKey": []}] if call.scope == "recommend" else []
    return [{"bearerAuth": []}, *publishable, {}]


def _failures(method: str, path: str, call: Call, schema: type[StrictSchema] | None) -> set[str]:
    kinds = {"invalid-values", "not-acceptable", "too-many-requests", "internal", "unavailable"}
    if method == "POST":
        kinds |= {"bad-syntax", "too-large", "unsupported-media-type"}
    if call.scope != "open":
        kinds |= {"unauthorized", "forbidden"}
    if "<" in path:
        kinds |= {"not-found"}
    return kinds


def _guarded(handler: View, call: Call, *, takes_query: bool) -> View:
    """The handler behind the checks that come before any decoding."""

    @wraps(handler)
    def guarded(*args: Any, **kwargs: Any) -> Response:
        request.max_content_length = call.max_body
        current_service().gate.check(request.headers.get("Authorization"), call.scope, _page())
        # Generated clients choose the first JSON that a call may answer with, which may be that of its problems.
        known = (call.media_type, *call.also, problems.MEDIA_TYPE)
        if request.accept_mimetypes and not request.accept_mimetypes.best_match(known):
            raise Problem(
                "not-acceptable",
                Fault(
                    code="media-type",
                    detail="This call answers in a media type that Accept rules out.",
                    expected=" or ".join((call.media_type, *call.also)),
                    header="Accept",
                ),
            )
        if not takes_query:
            decode_query(_asked(), None)
        if call.cached and request.method in ("GET", "HEAD"):
            return kept_or(lambda: handler(*args, **kwargs))
        return handler(*args, **kwargs)

    guarded.call = call  # type: ignore[attr-defined]
    return guarded


def known_key() -> Key | None:
    """The key of this request, where its token has passed before."""
    return current_service().gate.known(request.headers.get("Authorization"), _page())


def _page() -> Page:
    """What the request says of the page that asks."""
    headers = request.headers
    own = headers.get("Sec-Fetch-Mode") == "navigate" or headers.get("Sec-Fetch-Site") == "same-origin"
    return Page(key=request.args.get("key"), origin=headers.get("Origin"), own=own)


def _asked() -> MultiDict[str, str]:
    """The query without the publishable key, which says who asks and not what."""
    return MultiDict((name, text) for name, text in request.args.items(multi=True) if name != "key")


def calls_of(app: Flask) -> dict[str, Call]:
    """What each endpoint of the application was declared as."""
    return {name: view.call for name, view in app.view_functions.items() if hasattr(view, "call")}


def mount(app: Flask, *routes: Routes, title: str, version: str, description: str) -> dict[str, Any]:
    """Put the calls into the application; their OpenAPI 3.1 description."""
    app.config["OPENAPI_VERSION"] = "3.1.0"
    api = _Api(
        app,
        spec_kwargs={
            "title": title,
            "version": version,
            "info": {
                "description": description,
                "license": {"name": "MIT", "identifier": "MIT"},
                "contact": {"name": "whoever runs this service"},
            },
            "servers": [{"url": "/"}],
            "marshmallow_plugin": _Plugin(),
        },
    )
    api.spec.components.security_scheme(
        "bearerAuth",
        {
            "type": "http",
            "scheme": "bearer",
            "description": "Key of this service, needed where it runs with SHEETMARGIN_ACCESS=keys.",
        },
    )
    api.spec.components.security_scheme(
        "publishableKey",
        {
            "type": "apiKey",
            "in": "query",
            "name": "key",
            "description": "Key that a shop's page shows to everybody, bound to the shop's origins.",
        },
    )
    for name, codes in CODES.items():
        # No enum: made clients would refuse an answer for a code that a later service adds.
        told = {
            "type": "string",
            "x-extensible-enum": sorted(codes()),
            "description": "The codes known today, which `/docs/codes` describes.",
        }
        api.spec.components.schema(name, told)
    for part in routes:
        api.register_blueprint(part.blueprint)
    document: dict[str, Any] = api.spec.to_dict()
    for path in document["paths"].values():
        for described in path.values():
            if "responses" in described:
                described["responses"] = dict(sorted(described["responses"].items()))
    return document
