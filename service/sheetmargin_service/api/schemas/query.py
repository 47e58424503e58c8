"""What query parameters ask: a sheet, or what to look for in the library."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, post_load
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job, Sheet

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.faults import Fault
from sheetmargin_service.api.schemas.derive import asked_field, question_schema
from sheetmargin_service.api.schemas.field_names import FieldNames, Wanted
from sheetmargin_service.api.schemas.strict import Choice, Listing, Part, StrictSchema, Text, Whole
from sheetmargin_service.materials.sheet_text import Mark
from sheetmargin_service.messages.languages import LANGUAGES, Language

MARKS: tuple[Mark, ...] = (".", ",")
WISHES = ("classes", "catalogue", "limit")
"""Fields of a job that a query can carry."""
SINGLE = {
    name: asked_field(Sheet, name)
    for name, field in question_schema(Sheet)().fields.items()
    if not isinstance(field, Listing | Part)
}
"""Fields of a sheet that are single values."""


WANTED = {
    "fields": FieldNames(
        "Names of the fields that the answer is to have, with commas, such as `verdict,recommendations.chance`: it has "
        "no others then, though its schema requires them. The whole answer if not given.",
        of=Answer,
        load_default=None,
    )
}
"""What is wanted of an answer."""


class SheetQuery(StrictSchema.from_dict({**SINGLE, **{name: asked_field(Job, name) for name in WISHES}})):  # type: ignore[misc]
    """One sheet by query parameters."""

    language = Choice("Language of the texts; chosen by the header `Accept-Language` if not given.", among=LANGUAGES)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[Job, Language | None]:
        language = data.pop("language", None)
        wishes = {name: data.pop(name) for name in WISHES}
        return Job(sheets=(Sheet(**data),), **wishes), language


class SheetFieldsQuery(SheetQuery.from_dict(WANTED)):  # type: ignore[misc]
    """One sheet by query parameters, and what is wanted of its answer."""

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[tuple[Job, Language | None], Wanted]:
        wanted = data.pop("fields") or {}
        return super().make(data), wanted


class FieldsQuery(StrictSchema.from_dict(WANTED)):  # type: ignore[misc]
    """What is wanted of an answer."""

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> Wanted:
        return data["fields"] or {}


class BatchQuery(StrictSchema.from_dict(WANTED)):  # type: ignore[misc]
    """Where a batch begins, and what is wanted of each result."""

    start_index = Whole(
        "Index of the first job that is answered, from 0: after a break, the same body goes on where its answer ended.",
        ge=0,
        le=1000,
        load_default=0,
    )
    view = Choice(
        "Whether each result is the whole answer, or its summary in less than 2 kB as `/v1/summaries` has it.",
        among=("answer", "summary"),
        load_default="answer",
    )

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[int, bool, Wanted]:
        brief, wanted = data["view"] == "summary", data["fields"] or {}
        if brief and wanted:
            fault = Fault(
                code="conflicting-fields",
                detail="A summary has all of its own fields.",
                expected="view=answer, or no fields",
            )
            raise ValidationError([fault], "fields")
        return data["start_index"], brief, wanted


class MaterialsQuery(StrictSchema):
    """What to look for."""

    q = Text(
        "Name of a material or a part of it, in English or German, misspelt or not; all materials if empty.", shortest=0
    )
    limit = Whole("Highest number of materials to return.", ge=1, le=1000, load_default=1000)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[str, int]:
        return data.get("q", ""), data["limit"]


class SheetTextQuery(StrictSchema):
    """A text about a sheet."""

    text = Text(
        "Sheet as one would order it, for example `80 gsm copy paper` or `Hart-PVC 0,76 mm`.",
        longest=200,
        required=True,
    )
    decimal_mark = Choice("Decimal mark of the numbers in the text; that of the language if not given.", among=MARKS)
    language = Choice("Language of the texts; chosen by the header `Accept-Language` if not given.", among=LANGUAGES)

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> tuple[str, Mark, Language]:
        language = data.get("language") or wanted_language()
        return data["text"], data.get("decimal_mark") or MARKS[language == "de"], language


class ClassesQuery(StrictSchema):
    """Which catalogue."""

    catalogue = asked_field(Job, "catalogue")

    @post_load
    def make(self, data: dict[str, Any], **_: Any) -> str | None:
        name: str | None = data["catalogue"]
        return name
