"""Fields and schemas that take exactly what they say: no text for a number, and of a request no unknown name.

Each field knows its JSON Schema (2020-12, as OpenAPI 3.1 has it), so that what is published is what is enforced.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, ClassVar, Generic, TypeVar

from marshmallow import INCLUDE, RAISE, Schema, ValidationError, fields, post_load, pre_load
from marshmallow.exceptions import SCHEMA

from sheetmargin_service.api.faults import Fault, nearest
from sheetmargin_service.errors import Filled, Path

T = TypeVar("T")
JsonSchema = dict[str, Any]

MAX_UNKNOWN = 20
"""Unknown names told of one object; looking up what each was meant to be costs time."""

_PRINTABLE = r"^[^\u0000-\u001f\u007f]*$"


class Refusing:
    """A field that refuses with a code and says what it expected."""

    expected: str = ""

    def make_error(self, key: str, **_: Any) -> ValidationError:
        if key == "required":
            return self.refuse("missing-field", "Enter a value; this field is required.")
        if key == "null":
            return self.refuse("null", "Enter a value instead of null.")
        return self.refuse("wrong-type", "This value has the wrong type.")

    def refuse(self, code: str, detail: str, *, suggestions: tuple[str, ...] = ()) -> ValidationError:
        return ValidationError([Fault(code=code, detail=detail, expected=self.expected, suggestions=suggestions)])


class StrictField(Refusing, fields.Field[T], Generic[T]):
    """A field of a single value."""

    def __init__(self, description: str = "", **kwargs: Any) -> None:
        super().__init__(metadata=_described(description), **_strict(kwargs))

    def json_schema(self) -> JsonSchema:
        """What the field takes, as JSON Schema."""
        raise NotImplementedError


class Real(StrictField[float]):
    """A finite number within bounds: `gt` and `lt` exclude the bound, `ge` and `le` include it."""

    def __init__(
        self,
        description: str = "",
        *,
        gt: float | None = None,
        ge: float | None = None,
        lt: float | None = None,
        le: float | None = None,
        decimals: int | None = None,
        unit: str | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(description, **kwargs)
        self.gt, self.ge, self.lt, self.le = gt, ge, lt, le
        self.told = {"x-decimals": decimals, "x-unit": unit}
        bounds = {"above {gt:g}": gt, "at least {ge:g}": ge, "below {lt:g}": lt, "at most {le:g}": le}
        told = " and ".join(words for words, bound in bounds.items() if bound is not None)
        self.expected = Filled(f"{self._kind()} {told}".rstrip(), gt=gt, ge=ge, lt=lt, le=le)

    @staticmethod
    def _kind() -> str:
        return "a number"

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.make_error("invalid")
        number = float(value)
        if not math.isfinite(number):
            raise self.refuse("not-finite", "This number is too large.")
        inside = (
            (self.gt is None or number > self.gt)
            and (self.ge is None or number >= self.ge)
            and (self.lt is None or number < self.lt)
            and (self.le is None or number <= self.le)
        )
        if not inside:
            raise self.refuse("out-of-range", "This number is out of range.")
        return number

    def json_schema(self) -> JsonSchema:
        bounds = {"exclusiveMinimum": self.gt, "minimum": self.ge, "exclusiveMaximum": self.lt, "maximum": self.le}
        return {
            "type": "number",
            **{key: int(b) if float(b).is_integer() else b for key, b in bounds.items() if b is not None},
            **{key: value for key, value in self.told.items() if value is not None},
        }


class Whole(Real):
    """A whole number within bounds; 4.0 is one, as in JSON Schema."""

    @staticmethod
    def _kind() -> str:
        return "a whole number"

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any) -> int:
        number = super()._deserialize(value, attr, data, **kwargs)
        if not number.is_integer():
            raise self.refuse("not-whole", "This number is not whole.")
        return int(number)

    def json_schema(self) -> JsonSchema:
        return {**super().json_schema(), "type": "integer"}


class Flag(StrictField[bool]):
    """true or false, and nothing that is only like them."""

    expected = "true or false"

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> bool:
        if not isinstance(value, bool):
            raise self.make_error("invalid")
        return value

    def json_schema(self) -> JsonSchema:
        return {"type": "boolean"}


class Text(StrictField[str]):
    """A line of text without control characters. `codes` names the component that lists those known today."""

    def __init__(
        self,
        description: str = "",
        *,
        longest: int | None = 80,
        shortest: int = 1,
        codes: str | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(description, **kwargs)
        self.longest, self.shortest, self.codes = longest, shortest, codes
        self.expected = "a text"
        if longest is not None:
            self.expected = Filled("a text of {low} to {high} printable characters", low=shortest, high=longest)

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> str:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        if self.longest is None:
            return value
        if not self.shortest <= len(value) <= self.longest:
            raise self.refuse("wrong-length", "This text is too short or too long.")
        if any(character < " " or character == "\x7f" for character in value):
            raise self.refuse("not-printable", "This text has control characters.")
        return value

    def json_schema(self) -> JsonSchema:
        if self.codes is not None:
            return {"$ref": f"#/components/schemas/{self.codes}"}
        if self.longest is None:
            return {"type": "string"}
        return {"type": "string", "minLength": self.shortest, "maxLength": self.longest, "pattern": _PRINTABLE}


class Choice(StrictField[str]):
    """One of a few words."""

    def __init__(self, description: str = "", *, among: Sequence[str], **kwargs: Any) -> None:
        super().__init__(description, **kwargs)
        self.among = tuple(among)
        self.expected = Filled("one of {names}", names=", ".join(self.among))

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> str:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        if value not in self.among:
            raise self.refuse(
                "unknown-value", "This is not one of the choices.", suggestions=nearest(value, self.among)
            )
        return value

    def json_schema(self) -> JsonSchema:
        return {"type": "string", "enum": [*self.among, *([None] if self.allow_none else [])]}


class Shaped(StrictField[str]):
    """A text of one shape: `shape` is a pattern of JSON Schema (ECMA-262) and of Python alike."""

    def __init__(self, description: str = "", *, shape: str, expected: str, **kwargs: Any) -> None:
        super().__init__(description, **kwargs)
        self.shape, self.expected = shape, expected

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> str:
        if not isinstance(value, str):
            raise self.make_error("invalid")
        if re.fullmatch(self.shape, value) is None:
            raise self.refuse("unknown-value", "This text does not have the required form.")
        return value

    def json_schema(self) -> JsonSchema:
        return {"type": "string", "pattern": f"^{self.shape}$"}


class Listing(Refusing, fields.List[Any]):
    """A list within bounds of length, loaded as a tuple."""

    def __init__(
        self,
        inner: fields.Field[Any],
        description: str = "",
        *,
        longest: int | None = None,
        shortest: int = 0,
        **kwargs: Any,
    ) -> None:
        super().__init__(inner, metadata=_described(description), **_strict(kwargs))
        self.longest, self.shortest = longest, shortest
        self.expected = "a list"
        if longest is not None:
            self.expected = Filled("a list of {low} to {high}", low=shortest, high=longest)

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any) -> Any:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        if not value and self.shortest:
            raise self.refuse("empty-list", "This list is empty.")
        if len(value) < self.shortest or (self.longest is not None and len(value) > self.longest):
            raise self.refuse("wrong-length", "This list is too short or too long.")
        return tuple(super()._deserialize(value, attr, data, **kwargs))

    def json_schema(self) -> JsonSchema:
        shortest = {"minItems": self.shortest} if self.shortest else {}
        longest = {} if self.longest is None else {"maxItems": self.longest}
        return {"type": "array", **shortest, **longest}


class Part(Refusing, fields.Nested):
    """An object within the object, of its own schema."""

    expected = "an object"

    def __init__(self, schema: type[Schema], description: str = "", **kwargs: Any) -> None:
        super().__init__(schema, metadata=_described(description), **_strict(kwargs))

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, partial: Any = None, **kwargs: Any
    ) -> Any:
        if not isinstance(value, dict):
            raise self.make_error("invalid")
        return super()._deserialize(value, attr, data, partial, **kwargs)


class OneOf(StrictField[Any]):
    """One of several `parts`, told apart by their `type` where there are more than one; or a single value, where
    `scalar`."""

    def __init__(
        self, description: str = "", *, parts: Sequence[type[Schema]] = (), scalar: bool = True, **kwargs: Any
    ) -> None:
        super().__init__(description, **kwargs)
        self.parts, self.scalar = [part() for part in parts], scalar
        self.expected = "a number, a text, true or false" if scalar else "an object with a known type"

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any) -> Any:
        if isinstance(value, dict):
            for part in self.parts:
                kind = part.fields.get("type")
                if not isinstance(kind, Choice) or value.get("type") in kind.among:
                    return part.load(value)
        if not self.scalar or isinstance(value, dict | list):
            raise self.make_error("invalid")
        return value

    def json_schema(self) -> JsonSchema:
        return {} if self.parts else {"type": ["string", "number", "boolean"]}


class Table(Refusing, fields.Dict):
    """Values by name."""

    expected = "an object"

    def __init__(self, inner: fields.Field[Any], description: str = "", **kwargs: Any) -> None:
        super().__init__(values=inner, metadata=_described(description), **_strict(kwargs))

    def json_schema(self) -> JsonSchema:
        return {"type": "object"}


def _strict(kwargs: dict[str, Any]) -> dict[str, Any]:
    """marshmallow takes a default of None for leave to give null."""
    return {"allow_none": False} | kwargs


def _described(description: str) -> dict[str, str]:
    return {"description": description} if description else {}


def _itself(schema: T, _: Any) -> T:
    """A schema never changes; what is declared with it is copied once for each thing that a call can answer."""
    return schema


class AnswerSchema(Schema):
    """A schema of an answer: names that it does not know may come with a later service."""

    __deepcopy__ = _itself

    class Meta:
        unknown = INCLUDE


class StrictSchema(Schema):
    """A schema that refuses unknown names with the nearest known ones, and loads into `makes`.

    null for what need not be given says that it is not given.
    """

    makes: ClassVar[type[Any]]
    __deepcopy__ = _itself

    class Meta:
        unknown = RAISE

    @pre_load
    def leave_out_null(self, data: Any, **_: Any) -> Any:
        needed = {name for name, field in self.load_fields.items() if field.required}
        known = self.load_fields.keys() - needed
        return {name: value for name, value in data.items() if value is not None or name not in known}

    def handle_error(self, error: ValidationError, data: Any, *, many: bool, **_: Any) -> None:
        messages = error.messages
        assert isinstance(messages, dict)
        known = [field.data_key or name for name, field in self.load_fields.items()]
        unknown = [name for name in data if name not in known] if isinstance(data, Mapping) else []
        told = set(unknown[:MAX_UNKNOWN])
        # A stray name may be any text, marshmallow's own key for the whole object included: keep only what is a fault.
        faults = [message for message in messages.pop(SCHEMA, []) if isinstance(message, Fault)]
        for name in unknown:
            messages.pop(name, None)
            if name in told:
                faults.append(
                    Fault(
                        code="unknown-field",
                        detail="This field does not exist here.",
                        expected=Filled("one of {names}", names=", ".join(sorted(known))),
                        suggestions=nearest(name, known),
                        path=(name,),
                    )
                )
        if faults:
            messages[SCHEMA] = faults

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> Any:
        return self.makes(**data)


def faults_in(messages: Any, path: Path = ()) -> Iterator[Fault]:
    """The faults of a validation error's messages, each with its place from the root."""
    if isinstance(messages, Fault):
        yield Fault(
            code=messages.code,
            detail=messages.detail,
            expected=messages.expected,
            suggestions=messages.suggestions,
            path=(*path, *(messages.path or ())),
        )
    elif isinstance(messages, dict):
        for name, inner in messages.items():
            yield from faults_in(inner, path if name == SCHEMA else (*path, name))
    else:
        for inner in messages:
            yield from faults_in(inner, path)
