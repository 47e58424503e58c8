"""What an answer says in words: each with a stable code and the numbers that the text states."""

from __future__ import annotations

from dataclasses import dataclass, field

Scalar = str | int | float | bool | None


@dataclass(frozen=True, kw_only=True)
class Note:
    """A caution, a step of a trial or of the alignment, a limit."""

    code: str | None = None
    text: str | None = None
    values: dict[str, Scalar] = field(default_factory=dict)

    def __str__(self) -> str:
        return self.text or self.code or ""


@dataclass(frozen=True, kw_only=True)
class Reason(Note):
    """Why a set-up ranks where it does."""

    source: str | None = None

    def __str__(self) -> str:
        return f"{self.text or self.code or ''}{f' [{self.source}]' if self.source else ''}"


@dataclass(frozen=True, kw_only=True)
class Assumption(Reason):
    """What was taken because the job did not say: the place in the job, and the value."""

    pointer: str | None = None
    value: Scalar = None


@dataclass(frozen=True, kw_only=True)
class NotServed(Note):
    """A sheet that a recommendation cannot serve, and why."""

    index: int | None = None


@dataclass(frozen=True, kw_only=True)
class Rejection(Note):
    """A class that the filters admit and that is not recommended, and why."""

    detector_class: str | None = None
