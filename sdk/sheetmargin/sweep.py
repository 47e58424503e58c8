"""One question over a grid of values."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Any

from sheetmargin.contract.problem import Fault
from sheetmargin.encode import Question, job_to_json
from sheetmargin.errors import InvalidJob
from sheetmargin.outcome import Outcome
from sheetmargin.tables.columns import columns

if TYPE_CHECKING:
    from sheetmargin.client import Client

Point = Mapping[str, Any]
"""The values of the inputs at one place of the grid."""


def sweep(
    client: Client, question: Question, inputs: Mapping[str, Sequence[Any]], *, workers: int | None = None
) -> Iterator[tuple[Point, Outcome]]:
    """Each point of the grid with its outcome; see `Client.sweep`."""
    points, jobs = jobs_of(question, inputs)
    return zip(points, client.recommend_many(jobs, workers=workers), strict=True)


def jobs_of(question: Question, inputs: Mapping[str, Sequence[Any]]) -> tuple[list[Point], list[dict[str, Any]]]:
    """The points of the grid, and the question at each."""
    unknown = [name for name in inputs if name not in columns()]
    if unknown:
        faults = [Fault(code="unknown-field", detail=f"{name} is no field of a job.") for name in unknown]
        raise InvalidJob("Nothing was asked.", errors=faults)
    points: list[Point] = [dict(zip(inputs, values, strict=True)) for values in product(*inputs.values())]
    asked = job_to_json(question)
    return points, [_at(json.loads(asked), point) for point in points]


def _at(job: dict[str, Any], point: Point) -> dict[str, Any]:
    """The job with the values of a point; what belongs to a sheet is given to each of its sheets."""
    for name, value in point.items():
        part, *path = columns()[name].path
        for owner in job["sheets"] if part == "sheet" else [job]:
            steps = path if part == "sheet" else [part, *path]
            for step in steps[:-1]:
                owner = owner.setdefault(step, {})
            owner[steps[-1]] = value
    return job
