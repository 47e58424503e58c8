"""The service does what its description says, for requests made from the description by schemathesis.

The physics is a stand-in: what is fuzzed is the reading of requests and the writing of answers.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig
from schemathesis.schemas import BaseSchema
from sheetmargin_service.app import create_app, load_service
from sheetmargin_service.config import Settings
from support.answers import CountingRecommend

CHECKS = {
    # What the schema cannot say (a material that does not exist, a density that cannot be) is refused with 422.
    "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "404", "422"]}
}


APP = create_app(service=replace(load_service(Settings()), recommend=CountingRecommend()))


def description(*, examples: int) -> BaseSchema:
    generation = {"max-examples": examples, "deterministic": True}
    config = SchemathesisConfig.from_dict({"generation": generation, "checks": CHECKS})
    return schemathesis.openapi.from_wsgi("/openapi.json", APP, config=config)


SLOW_IS_FINE = settings(suppress_health_check=list(HealthCheck), deadline=None)


@description(examples=10).parametrize()
@SLOW_IS_FINE
def test_every_call(case: schemathesis.Case) -> None:
    case.call_and_validate()


@pytest.mark.long
@description(examples=400).parametrize()
@SLOW_IS_FINE
def test_every_call_at_length(case: schemathesis.Case) -> None:
    case.call_and_validate()
