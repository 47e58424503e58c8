"""Which fields of an answer are wanted, by their names with commas; within a part by a dot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any, get_args, get_type_hints

from marshmallow import ValidationError

from sheetmargin_service.api.faults import Fault, nearest
from sheetmargin_service.api.schemas.strict import Text
from sheetmargin_service.errors import Filled

LONGEST = 2000
Wanted = Mapping[str, "Wanted"]
"""Names that are wanted, each with those within it; all of it where there are none."""


class FieldNames(Text):
    """Names of fields of an answer of some kind, such as `verdict,recommendations.chance`."""

    def __init__(self, description: str, *, of: type[Any], **kwargs: Any) -> None:
        super().__init__(description, longest=LONGEST, **kwargs)
        self.of = of

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> Any:
        wanted: dict[str, Any] = {}
        for path in super()._deserialize(value, attr, data).split(","):
            self._add(path, wanted)
        return wanted

    def _add(self, path: str, wanted: dict[str, Any]) -> None:
        kind: Any = self.of
        for name in path.strip().split("."):
            known = _parts(kind) if kind else {}
            if name not in known:
                raise ValidationError([_unknown(path, name, list(known))])
            kind, wanted = known[name], wanted.setdefault(name, {})


def picked(answer: Any, wanted: Wanted) -> Any:
    """An answer, as JSON has it, with what is wanted of it alone; all of it where nothing is named."""
    if isinstance(answer, list):
        return [picked(each, wanted) for each in answer]
    if not wanted or not isinstance(answer, dict):
        return answer
    return {name: picked(answer[name], within) for name, within in wanted.items() if name in answer}


def _parts(kind: type[Any]) -> dict[str, Any]:
    """The fields of a part of an answer as JSON names them, each with the dataclass that it holds, if it holds one."""
    hints = get_type_hints(kind)
    return {field.metadata.get("key", field.name): _part(hints[field.name]) for field in fields(kind)}


def _part(hint: Any) -> Any:
    if is_dataclass(hint):
        return hint
    return next((part for inner in get_args(hint) if (part := _part(inner))), None)


def _unknown(path: str, name: str, known: Sequence[str]) -> Fault:
    if not known:
        return Fault(
            code="unknown-field",
            detail=Filled("{path} has no parts.", path=path.rpartition(".")[0]),
            expected=Filled("the name without {name}", name=f".{name}"),
        )
    return Fault(
        code="unknown-field",
        detail=Filled("The answer has no field {path!r}.", path=path),
        expected=Filled("one of {names}", names=", ".join(sorted(known))),
        suggestions=nearest(name, known),
    )
