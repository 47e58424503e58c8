"""One thing wrong with a request: what, where, and what would be right."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from rapidfuzz import fuzz, process

from sheetmargin_service.errors import Path, QuestionError
from sheetmargin_service.tables import load_table


@cache
def fault_codes() -> Mapping[str, str]:
    """What each code of a fault means."""
    return load_table(__package__, "fault_codes.toml")


@dataclass(frozen=True, kw_only=True)
class Fault:
    """`path` is a place in the job, `header` a request header, `line` and `column` (from 1) a place in a text."""

    code: str
    detail: str
    expected: str | None = None
    suggestions: tuple[str, ...] = ()
    path: Path | None = None
    header: str | None = None
    line: int | None = None
    column: int | None = None


def faults_of(error: QuestionError, within: Path = ()) -> tuple[Fault, ...]:
    """A fault for each field of an error, which lies within a part of the request."""
    return tuple(
        Fault(
            code=error.code,
            detail=error.detail,
            expected=error.expected,
            suggestions=error.suggestions,
            path=(*within, *path),
        )
        for path in error.paths
    )


def json_pointer(path: Path) -> str:
    """RFC 6901 pointer of a path; half surrogate pairs, which cannot be sent, become question marks."""
    pointer = "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in path)
    return pointer.encode("utf-8", "replace").decode()


def nearest(wrong: str, names: Iterable[str], *, limit: int = 3) -> tuple[str, ...]:
    """The names most like a misspelt one, best first; none where nothing is alike."""
    # 60 of 100 keeps two wrong letters in a word of five, and drops words that share only a few letters.
    found = process.extract(wrong[:100], list(names), scorer=fuzz.WRatio, limit=limit, score_cutoff=60)
    return tuple(name for name, _, _ in found)
