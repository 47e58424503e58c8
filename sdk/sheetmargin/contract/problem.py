"""What is wrong with a request (RFC 9457), and one item of the answer to many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sheetmargin.contract.answer import Answer
from sheetmargin.contract.fields import about


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing that is wrong with a request, and its place in it."""

    code: str = field(metadata=about(vocabulary="FaultCode"))
    """Stable code of the fault, described in the docs; a later service may have more codes."""
    detail: str
    """What is wrong, as a sentence."""
    pointer: str | None = None
    """JSON pointer into the body; null where the fault is not in a field of the body."""
    parameter: str | None = None
    """Name of the query parameter; null where the fault is not in the query."""
    header: str | None = None
    """Name of the request header; null where the fault is not in a header."""
    line: int | None = None
    """Line of the body that cannot be read, from 1; null where the body can be read."""
    column: int | None = None
    """Column of that line, in characters, from 1; null where the body can be read."""
    expected: str | None = None
    """What would be right here; null where there is nothing to add to the detail."""
    suggestions: Sequence[str] = ()
    """Known names that resemble the one given, nearest first; empty where there are none."""

    def __str__(self) -> str:
        place = self.pointer or self.parameter or self.header
        if self.line is not None:
            place = f"line {self.line}, column {self.column}"
        text = f"{place}: {self.detail}" if place else self.detail
        if self.expected:
            text += f" (expected: {self.expected})"
        if self.suggestions:
            text += f"; did you mean {', '.join(self.suggestions)}?"
        return text


@dataclass(frozen=True, kw_only=True)
class Problem:
    """A problem that stands in place of an answer (RFC 9457)."""

    type: str
    """Path of the page that describes this kind of problem."""
    title: str
    """Name of the kind of problem."""
    status: int
    """HTTP status code of the response."""
    detail: str
    """What is wrong, as a sentence."""
    request_id: str
    """Name of the request, repeated in the header `X-Request-Id` and in the log."""
    errors: Sequence[Fault]
    """Each thing that is wrong, with its place."""


@dataclass(frozen=True, kw_only=True)
class BatchItem:
    """The outcome of one job of a batch: either its `result` or its `problem`."""

    index: int
    """Index of the job in the batch, from 0."""
    reference: str | None
    """The job's reference; null where it has none."""
    result: Answer | None = None
    """The answer, the same as to the job alone; null where there is a problem."""
    problem: Problem | None = None
    """Why there is no answer; null where there is one."""
