"""Fields and the base schema of answers: always present, rounded to the decimals that the schema states."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from marshmallow import EXCLUDE, Schema, fields

from sheetmargin_service.api.schemas.strict import JsonSchema


class OutputSchema(Schema):
    """What a call answers. Publishes no `additionalProperties: false`: clients ignore names they do not know."""

    class Meta:
        unknown = EXCLUDE


class Number(fields.Field[float]):
    """A number rounded to `decimals`; `per` divides first, to bring an SI value into the contract's unit."""

    def __init__(
        self, description: str, *, decimals: int, per: float = 1.0, nullable: bool = False, attribute: str | None = None
    ) -> None:
        super().__init__(required=True, allow_none=nullable, attribute=attribute, metadata={"description": description})
        self.decimals, self.per = decimals, per

    def _serialize(self, value: float | None, attr: str | None, obj: Any, **_: Any) -> float | None:
        # Adding zero turns -0.0 into 0.0.
        return None if value is None else round(float(value) / self.per, self.decimals) + 0.0

    def json_schema(self) -> JsonSchema:
        return {"type": "number", "x-decimals": self.decimals}


def string(description: str, *, nullable: bool = False, among: Sequence[str] = ()) -> fields.String:
    """A text of an answer."""
    known = {"enum": [*among, *([None] if nullable else [])]} if among else {}
    return fields.String(required=True, allow_none=nullable, metadata={"description": description, **known})


def whole(description: str, *, nullable: bool = False) -> fields.Integer:
    """A whole number of an answer."""
    return fields.Integer(required=True, allow_none=nullable, metadata={"description": description})


def flag(description: str, *, nullable: bool = False) -> fields.Boolean:
    """true or false in an answer."""
    return fields.Boolean(required=True, allow_none=nullable, metadata={"description": description})


def part(
    schema: type[OutputSchema], description: str, *, nullable: bool = False, attribute: str | None = None
) -> fields.Nested:
    """An object within an answer."""
    return fields.Nested(
        schema, required=True, allow_none=nullable, attribute=attribute, metadata={"description": description}
    )


def listing(inner: type[OutputSchema] | fields.Field[Any], description: str, **limits: int) -> fields.List[Any]:
    """A list of an answer; `limits` are minItems and maxItems where they are fixed."""
    items = inner if isinstance(inner, fields.Field) else fields.Nested(inner)
    return fields.List(items, required=True, metadata={"description": description, **limits})


class Values(fields.Field[Mapping[str, Any]]):
    """The numbers and words that a text states, by name with the unit in it.

    Inside the service frequencies are in Hz; the contract speaks of kHz.
    """

    def __init__(self) -> None:
        super().__init__(required=True, metadata={"description": "What the text states, by name; at most 6 digits."})

    def _serialize(self, value: Mapping[str, Any] | None, attr: str | None, obj: Any, **_: Any) -> dict[str, Any]:
        return contract_values(value or {})

    def json_schema(self) -> JsonSchema:
        return {"type": "object", "additionalProperties": {"type": ["string", "number", "boolean", "null"]}}


def contract_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by the names, units and digits of the contract."""
    contract = {}
    for name, value in values.items():
        if name.endswith("_hz"):
            name, value = f"{name.removesuffix('_hz')}_khz", value / 1e3
        contract[name] = scalar(value)
    return contract


def scalar(value: Any) -> Any:
    """A single value to 6 digits, -0 as 0."""
    return float(f"{value:.6g}") + 0.0 if isinstance(value, float) else value
