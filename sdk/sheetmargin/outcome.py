"""What became of one question among many."""

from __future__ import annotations

import json
from dataclasses import dataclass

from sheetmargin.contract.answer import Answer
from sheetmargin.decode import decode
from sheetmargin.errors import SheetmarginError, UnexpectedAnswer


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """The `answer` to a question, or the `error` for which there is none. `index` is its place among the questions."""

    index: int
    reference: str | None = None
    answer: Answer | None = None
    error: SheetmarginError | None = None

    def row(self) -> dict[str, str | int | float | None]:
        """One row of a table: what a quote needs, or the problem. pandas and polars make a frame of a list of these."""
        from sheetmargin.report.quote import row_of

        return row_of(self)


def outcome_of(line: bytes, *, index: int) -> Outcome:
    """The outcome that a line of a batch's answer tells."""
    from sheetmargin.transport import problem_error

    item = json.loads(line)
    reference = item.get("reference")
    if "problem" in item:
        return Outcome(index=index, reference=reference, error=problem_error(item["problem"]))
    return Outcome(index=index, reference=reference, answer=decode(Answer, item["result"]))


def items_in(content: bytes, *, count: int) -> list[bytes]:
    """The lines of a batch's whole answer, without the end line, which tells how many there are.

    Raises UnexpectedAnswer where there are not as many as were asked for, or one is no item.
    """
    *lines, end, _ = content.split(b"\n")
    try:
        told = json.loads(end)["end"]["count"]
        items = [json.loads(line) for line in lines]
    except (ValueError, TypeError, KeyError) as error:
        raise UnexpectedAnswer("The answer to a batch does not follow the contract: a line is no item.") from error
    if not told == len(lines) == count:
        raise UnexpectedAnswer(f"The answer has {len(lines)} lines and tells of {told}; {count} jobs were asked.")
    if not all(isinstance(item, dict) and ("result" in item) != ("problem" in item) for item in items):
        raise UnexpectedAnswer("The answer to a batch does not follow the contract: an item has no outcome.")
    return lines
