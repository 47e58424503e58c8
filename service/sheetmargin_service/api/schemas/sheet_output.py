"""A sheet as it goes back: in the very form in which it may be asked for again."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

from marshmallow import fields as wire

from sheetmargin_service.api.schemas.strict import JsonSchema
from sheetmargin_service.materials.spec import SheetSpec


class AskableSheet(wire.Field[SheetSpec]):
    """A sheet that every call takes, without what it does not give."""

    def __init__(self, description: str) -> None:
        super().__init__(required=True, metadata={"description": description})

    def _serialize(self, value: SheetSpec | None, attr: str | None, obj: Any, **_: Any) -> dict[str, Any] | None:
        return None if value is None else given(value)

    def json_schema(self) -> JsonSchema:
        return {"$ref": "#/components/schemas/Sheet"}


def given(sheet: SheetSpec) -> dict[str, Any]:
    """The fields of a sheet that differ from their defaults, at any depth."""
    return _given(sheet)


def _given(value: Any) -> dict[str, Any]:
    found = {}
    for field in fields(value):
        item = getattr(value, field.name)
        if item is None or item == field.default:
            continue
        found[field.name] = _plain(item)
    return found


def _plain(item: Any) -> Any:
    if is_dataclass(item) and not isinstance(item, type):
        return _given(item)
    return [_plain(inner) for inner in item] if isinstance(item, tuple) else item
