"""Same question, same answer: the one spelling of a job, and the strong ETag that follows from it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from typing import Any

from sheetmargin.contract.job import Job

SETS = frozenset({"classes", "principles", "housing", "output", "supply"})
"""Lists whose order and repeats mean nothing."""


def canonical_job(job: Job) -> str:
    """The job as JSON: keys sorted, the contract's defaults filled in, what was not given left out, without reference.

    Names of materials must have become ids before.
    """
    return json.dumps(_canonical(asdict(job) | {"reference": None}), sort_keys=True, separators=(",", ":"))


def _canonical(value: Any, name: str = "") -> Any:
    if isinstance(value, dict):
        return {key: _canonical(item, key) for key, item in value.items() if item is not None}
    if isinstance(value, list | tuple):
        items = [_canonical(item) for item in value]
        return sorted(set(items)) if name in SETS else items
    if isinstance(value, float) and value.is_integer():
        return int(value)  # the shortest spelling; takes -0.0 to 0 as well
    return value


def strong_etag(*parts: str) -> str:
    """An entity tag over the parts, each apart from the next."""
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]
