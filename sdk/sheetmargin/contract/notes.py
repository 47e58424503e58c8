"""What an answer says in words: each with a stable code and the numbers that the text states."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sheetmargin.contract.fields import about

Scalar = str | int | float | bool | None


@dataclass(frozen=True, kw_only=True)
class Note:
    """A caution, a step of a trial or of the alignment, a limit."""

    code: str = field(metadata=about(vocabulary="NoteCode"))
    """Stable code, described in the docs; a later service may have more."""
    text: str = field(default="", metadata=about(worded=True))
    """The code in words; states no number beyond `values`."""
    values: Mapping[str, Scalar] = field(metadata=about(digits=6))
    """What the text states, by name; at most 6 digits."""

    def __str__(self) -> str:
        return self.text or self.code


@dataclass(frozen=True, kw_only=True)
class Reason(Note):
    """Why a set-up ranks where it does."""

    source: str | None
    """Where the numbers come from."""

    def __str__(self) -> str:
        return f"{self.text or self.code}{f' [{self.source}]' if self.source else ''}"


@dataclass(frozen=True, kw_only=True)
class Assumption(Reason):
    """What was taken because the job did not say."""

    pointer: str | None
    """JSON pointer of the field that was not given."""
    value: Scalar = field(metadata=about(digits=6))
    """What was taken for it."""


@dataclass(frozen=True, kw_only=True)
class NotServed(Note):
    """A sheet that a recommendation cannot serve."""

    index: int
    """Position of the sheet in the job, from 0."""


@dataclass(frozen=True, kw_only=True)
class RuledOut(Note):
    """A class that cannot serve the job, and why."""

    detector_class: str
    """Id of the class."""


@dataclass(frozen=True, kw_only=True)
class Alternative(Note):
    """A class that could serve sheets of the job and is not recommended, and why."""

    detector_class: str
    """Id of the class."""
