"""A stand-in for the batch call in tests of the client, without physics."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import requests
import responses
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.library import Catalogues, Stocks, Version

from support.whole import whole

URL = "http://service.example"
BATCH = f"{URL}/v1/recommendations/batch"
LINES = "application/x-ndjson"

TOLD = {
    "verdict": "trial-needed",
    "model_version": "m",
    "catalogue_version": "c",
    "recommendations": [
        {
            "rank": 1,
            "setups": [
                {
                    "index": 0,
                    "detector_class": {"id": "invented-1", "principle": "ultrasonic", "illustrative": True},
                    "geometry": {"gap_mm": {"nominal": 42.5}, "tilt_deg": {"nominal": 0.0}},
                    "profile": {"band": {"low": 25, "high": 60, "unit": "dB", "quantity": "attenuation"}},
                    "order_items": [
                        {"role": "pair", "part_number": "T-1", "quantity": 1},
                        {"role": "cable", "part_number": None, "quantity": 2},
                    ],
                }
            ],
            "sheets": [
                {
                    "index": 0,
                    "setup": 0,
                    "signal": {"unit": "dB"},
                    "margin": {"no_sheet": 20.0, "single": 7.5, "double": 30.0},
                    "misread_ppm": {"double_as_single": {"estimate": 12.0}, "single_as_double": {"estimate": 1.0}},
                }
            ],
            "reasons": [{"code": "a", "text": "Because."}, {"code": "b", "text": "And so.", "source": "a book"}],
        }
    ],
    "trial": [{"code": "send", "text": "Send 50."}, {"code": "measure", "text": "Measure."}],
    "assumptions": [{"code": "default", "pointer": "/line/flutter_mm", "value": 1.0}],
}
RESULT = whole(Answer, TOLD)
EMPTY = json.dumps(whole(Answer, {})).encode()
"""The least answer there is."""
"""What every good job is answered."""


class BatchServer:
    """Answers lines as the service does: a job without `sheets` has a problem. `calls` are the jobs of each call."""

    def __init__(self, *, alter: Callable[[int, list[bytes]], list[bytes]] = lambda _, lines: lines) -> None:
        self.calls: list[list[Any]] = []
        self.headers: list[dict[str, str]] = []
        self.alter = alter

    def __call__(self, request: requests.PreparedRequest) -> tuple[int, dict[str, str], bytes]:
        assert isinstance(request.body, bytes)
        jobs = [json.loads(line) for line in request.body.splitlines()]
        self.calls.append(jobs)
        self.headers.append(dict(request.headers))
        lines = [line_for(index, job) for index, job in enumerate(jobs)]
        problems = sum(b'"problem"' in line for line in lines)
        end = json.dumps({"end": {"count": len(lines), "problems": problems}}).encode()
        body = b"".join(line + b"\n" for line in self.alter(len(self.calls), [*lines, end]))
        return 200, {"Content-Type": LINES}, body

    def install(self, mock: responses.RequestsMock) -> None:
        mock.add_callback("POST", BATCH, callback=self)
        for path, document in (
            ("version", whole(Version, {"build": "1"})),
            ("catalogues", whole(Catalogues, {"catalogues": [{"name": "a", "version": "b"}]})),
            ("stocks", whole(Stocks, {})),
        ):
            mock.get(f"{URL}/v1/{path}", json=document)


def line_for(index: int, job: Any) -> bytes:
    head = {"index": index, "reference": job.get("reference")}
    if not job.get("sheets"):
        status = job.get("status", 422)
        fault = {"code": "missing-field", "pointer": "/sheets", "detail": "Enter a value; this field is required."}
        problem = {"status": status, "title": "Check your input", "errors": [fault]}
        return json.dumps({**head, "problem": problem}).encode()
    return json.dumps({**head, "result": {**RESULT, "reference": head["reference"]}}).encode()
