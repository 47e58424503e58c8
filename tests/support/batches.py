"""A stand-in for the batch call in tests of the client, without physics."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import requests
import responses

URL = "http://service.example"
BATCH = f"{URL}/v1/recommendations/batch"
LINES = "application/x-ndjson"


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
            ("version", {"build": "1"}),
            ("catalogues", {"catalogues": [{"name": "a", "version": "b"}]}),
        ):
            mock.get(f"{URL}/v1/{path}", json=document)


def line_for(index: int, job: Any) -> bytes:
    head = {"index": index, "reference": job.get("reference")}
    if not job.get("sheets"):
        status = job.get("status", 422)
        fault = {"code": "missing-field", "pointer": "/sheets", "detail": "This field is needed."}
        problem = {"status": status, "title": "The question cannot be answered", "errors": [fault]}
        return json.dumps({**head, "problem": problem}).encode()
    return json.dumps({**head, "result": {"reference": head["reference"], "verdict": "trial"}}).encode()
