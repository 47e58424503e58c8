"""Checks shared by the parts of a sheet. Every failure is a QuestionError that names its field."""

from __future__ import annotations

import sys

from sheetmargin_service.errors import QuestionError


def in_range(value: float, *, field: str, low: float, high: float, unit: str = "") -> float:
    """The value when it is a finite number from `low` to `high`."""
    span = f"{low:g} to {high:g} {unit}".strip()
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= sys.float_info.max:
        raise QuestionError(
            code="not-a-number", field=field, detail=f"{field} is not a finite number.", expected=f"a number, {span}"
        )
    if not low <= value <= high:
        raise QuestionError(
            code="out-of-range", field=field, detail=f"{field} is {value:g}, outside {span}.", expected=span
        )
    return float(value)


def known(value: str, *, field: str, allowed: tuple[str, ...]) -> str:
    """The value when it is one of the allowed words."""
    if value not in allowed:
        words = ", ".join(allowed)
        raise QuestionError(
            code="unknown-value", field=field, detail=f"{field} {value!r} is not known.", expected=words
        )
    return value


def at_most_one(given: dict[str, object], *, subject: str) -> str | None:
    """The one field that is given (not None), or None; QuestionError when two say the same thing."""
    fields = [field for field, value in given.items() if value is not None]
    if len(fields) > 1:
        raise QuestionError(
            code="conflicting-fields",
            field=fields[0],
            also=tuple(fields[1:]),
            detail=f"{' and '.join(fields)} both give the {subject}.",
            expected=f"one of {', '.join(given)}",
        )
    return fields[0] if fields else None
