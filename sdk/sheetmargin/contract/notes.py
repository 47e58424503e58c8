"""What an answer says in words: each with a stable code and the numbers that the text states."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sheetmargin.contract.fields import about

Scalar = str | int | float | bool | None


@dataclass(frozen=True, kw_only=True)
class Note:
    """A sentence of the answer with a stable code and its values: a caution, a step of a trial or of an alignment, a
    limit."""

    code: str = field(metadata=about(vocabulary="NoteCode"))
    """Stable code of the note, described in the docs; a later service may have more codes."""
    text: str = field(default="", metadata=about(worded=True, always=True))
    """The note as a sentence in the language of the request; states no number beyond those of `values`."""
    values: Mapping[str, Scalar] = field(metadata=about(digits=6))
    """Numbers and names that the text states, by name, with at most 6 significant digits; the unit is in the name."""

    def __str__(self) -> str:
        return self.text or self.code


@dataclass(frozen=True, kw_only=True)
class Reason(Note):
    """Why a set-up ranks where it does, or why a verdict is as it is."""

    source: str | None = field(metadata=about(cited=True))
    """Where the numbers of the text come from: a publication, a standard or the job; null where they are this
    calculation's own."""

    def __str__(self) -> str:
        return f"{self.text or self.code}{f' [{self.source}]' if self.source else ''}"


@dataclass(frozen=True, kw_only=True)
class Assumption(Reason):
    """A value that was assumed because the job did not give it."""

    pointer: str | None
    """JSON pointer of the field of the job that was not given; null where no single field stands for it."""
    value: Scalar = field(metadata=about(digits=6))
    """The value that was assumed, in the field's own unit; null where the text alone tells what was assumed."""


@dataclass(frozen=True, kw_only=True)
class NotServed(Note):
    """A sheet of the list that a recommendation does not serve, and why."""

    index: int
    """Index of the sheet in the job, from 0."""


@dataclass(frozen=True, kw_only=True)
class RuledOut(Note):
    """A detector class that cannot serve the job, and why."""

    detector_class: str
    """Id of the class that is ruled out."""
    principle: str = ""
    """Id of the sensing principle of the class."""
    principle_name: str = field(default="", metadata=about(worded=True))
    """Name of that principle, in the language of the answer."""


@dataclass(frozen=True, kw_only=True)
class Alternative(Note):
    """A detector class that could serve sheets of the job and is not among the recommendations, and why."""

    detector_class: str
    """Id of the alternative class."""
    principle: str = ""
    """Id of the sensing principle of the class."""
    principle_name: str = field(default="", metadata=about(worded=True))
    """Name of that principle, in the language of the answer."""
