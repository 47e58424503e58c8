"""The service does what its description says, for requests made from the description by schemathesis.

The physics is a stand-in: what is fuzzed is the reading of requests and the writing of answers.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig
from schemathesis.schemas import BaseSchema
from schemathesis.specs.openapi.checks import response_schema_conformance
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from support.answers import CountingRecommend

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

pytestmark = pytest.mark.long

CHECKS = {
    # What the schema cannot say (a material that does not exist, a density that cannot be) is refused with 422.
    "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "404", "422"]}
}


@schemathesis.serializer("application/x-ndjson")
def write_lines(_context: object, value: object) -> bytes:
    """A text is sent as it is; lines of jobs are made in the tests of the batch."""
    return value.encode("utf-8", "surrogatepass") if isinstance(value, str) else json.dumps(value).encode()


def to_the_end(application: WSGIApplication) -> WSGIApplication:
    """The application as servers run it: answers are closed, which schemathesis leaves open."""

    def run(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        answer = application(environ, start_response)
        try:
            return [b"".join(answer)]
        finally:
            answer.close()  # type: ignore[attr-defined]

    return run


APP = create_app(service=replace(load_service(Settings()), recommend=CountingRecommend()))
APP.wsgi_app = to_the_end(APP.wsgi_app)  # type: ignore[method-assign]


def description(*, examples: int) -> BaseSchema:
    generation = {"max-examples": examples, "deterministic": True}
    batch = {
        "include-path": "/v1/recommendations/batch",
        # A job that is wrong has a problem of its own within the answer to its batch, which is 200.
        "checks": {"negative_data_rejection": {"enabled": False}},
        "generation": {"max-examples": examples // 5},
    }
    config = SchemathesisConfig.from_dict({"generation": generation, "checks": CHECKS, "operations": [batch]})
    return schemathesis.openapi.from_wsgi("/openapi.json", APP, config=config)


SLOW_IS_FINE = settings(suppress_health_check=list(HealthCheck), deadline=None)


@description(examples=600).parametrize()
@SLOW_IS_FINE
def test_every_call(case: schemathesis.Case) -> None:
    # An answer's schema is that of a whole one; `test_api_summaries` has those of which parts are asked.
    of_whole = [response_schema_conformance] if "fields" in (case.query or {}) else []
    case.call_and_validate(excluded_checks=of_whole)
