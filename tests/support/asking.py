"""A service that is asked over HTTP, whose every answer is of the published shape and finite."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any, NoReturn

from flask.testing import FlaskClient

from support.description import validator

Json = dict[str, Any]
ANSWER, PREDICTION = validator("Answer"), validator("Prediction")


def refuse(text: str) -> NoReturn:
    raise AssertionError(f"{text} is no JSON")


@dataclass(frozen=True, kw_only=True)
class Asking:
    """Answers are kept: rules that need the same one ask once."""

    api: FlaskClient
    _known: dict[tuple[str, str], Json | None] = field(default_factory=dict)

    def recommend(self, job: Json) -> Json | None:
        """The answer, or None to a job that makes no sense."""
        return self._ask("recommendations", job)

    def predict(self, question: Json) -> Json | None:
        """What is predicted, as a recommendation tells it; None of a set-up that cannot be."""
        found = self._ask("predictions", question)
        return None if found is None else found["predicted"]

    def forget(self) -> None:
        self._known.clear()

    def _ask(self, call: str, body: Json) -> Json | None:
        key = call, json.dumps(body, sort_keys=True)
        if key not in self._known:
            response = self.api.post(f"/v1/{call}", json=body)
            assert response.status_code in (200, 422), (response.status_code, body)
            document: Json = json.loads(response.data, parse_constant=refuse)
            if response.status_code == 200:
                (ANSWER if call == "recommendations" else PREDICTION).validate(document)
            self._known[key] = document if response.status_code == 200 else None
        return self._known[key]
