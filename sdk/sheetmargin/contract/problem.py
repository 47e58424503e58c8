"""What is wrong with a request (RFC 9457), and one item of the answer to many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sheetmargin.contract.answer import Answer
from sheetmargin.contract.fields import about


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing that is wrong, with its place: `pointer`, `parameter`, `header`, or `line` and `column`."""

    code: str = field(metadata=about(vocabulary="FaultCode"))
    """Stable code, described in the docs; a later service may have more."""
    detail: str
    """What is wrong."""
    pointer: str | None = None
    """JSON pointer into the body."""
    parameter: str | None = None
    """Name of the query parameter."""
    header: str | None = None
    """Name of the request header."""
    line: int | None = None
    """Line of the body, from 1."""
    column: int | None = None
    """Column of the line, from 1."""
    expected: str | None = None
    """What would be right."""
    suggestions: Sequence[str] = ()
    """Names that may have been meant."""

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
    """An RFC 9457 problem."""

    type: str
    """Path at which this kind of problem is described."""
    title: str
    """The kind of problem."""
    status: int
    """HTTP status."""
    detail: str
    """What is wrong."""
    request_id: str
    """Name of the request, also in `X-Request-Id`."""
    errors: Sequence[Fault]
    """Each thing that is wrong."""


@dataclass(frozen=True, kw_only=True)
class BatchItem:
    """One job's `result`, or its `problem`."""

    index: int
    """Position of the job in the batch, from 0."""
    reference: str | None
    """The job's reference."""
    result: Answer | None = None
    """The answer, as to the job alone."""
    problem: Problem | None = None
    """Why there is no answer."""
