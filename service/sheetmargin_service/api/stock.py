"""An owner's sheets by article number, from a file: TOML, or a table as the client reads one.

Entries are checked as the sheets of a job are, by the same schema and against the same library.
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from sheetmargin.contract.job import Job, Sheet
from sheetmargin.tables.files import TableError
from sheetmargin.tables.job import RowError, job_of
from sheetmargin.tables.read import read_table

from sheetmargin_service.api.decode import decode_value
from sheetmargin_service.api.faults import Fault, nearest
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.schemas.derive import question_schema
from sheetmargin_service.detectors.files import LARGEST_BYTES
from sheetmargin_service.detectors.schema import DIALECT
from sheetmargin_service.detectors.source_lines import line_of
from sheetmargin_service.errors import FieldError, Filled, QuestionError
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import SIZE_FIELDS, resolve_sheet

SUFFIXES = (".toml", ".csv", ".xlsx", ".parquet")
MOST_SHEETS = 20_000
REMARKS = ("measured", "source")
"""Texts of an entry that say where it is from."""
MADE_OF = ("material", "construction", "layers", "corrugated", "custom", *SIZE_FIELDS)
"""What the article says of a sheet, so that a job must not."""


@dataclass(frozen=True, kw_only=True)
class Stock:
    """Sheets by article number. `version` is a hash of the file."""

    name: str
    version: str
    sheets: Mapping[str, Sheet]


def stocks_of(paths: Mapping[str, Path], library: Library) -> dict[str, Stock]:
    """The stocks by name, in order; FieldError names file, place and key."""
    return {name: _stock(name, path, library) for name, path in paths.items()}


def with_articles(job: Job, stocks: Mapping[str, Stock]) -> tuple[Job, tuple[Fault, ...]]:
    """The job with what the stock says in the place of article numbers, and the faults of those that say nothing.

    What the job's sheet gives beside (its label, its plies, the double) goes before what the stock says.
    """
    asked = [index for index, sheet in enumerate(job.sheets) if sheet.article is not None]
    if job.stock is None and not asked:
        return job, ()
    stock = stocks.get(job.stock) if job.stock else next(iter(stocks.values()), None)
    if stock is None:
        return job, (
            Fault(
                code="unknown-stock",
                detail="This stock does not exist." if stocks else "This service has no stock of articles.",
                expected=Filled("one of {names}", names=", ".join(stocks)) if stocks else "a material and a size",
                suggestions=nearest(job.stock or "", stocks),
                path=("stock",) if job.stock else ("sheets", asked[0], "article"),
            ),
        )
    faults: list[Fault] = []
    sheets = []
    for index, sheet in enumerate(job.sheets):
        found = None if sheet.article is None else stock.sheets.get(sheet.article)
        if sheet.article is not None and found is None:
            faults.append(
                Fault(
                    code="unknown-article",
                    detail=Filled("The stock has no article {article!r}.", article=sheet.article),
                    expected=Filled("an article of the stock {stock}", stock=stock.name),
                    suggestions=nearest(sheet.article, stock.sheets),
                    path=("sheets", index, "article"),
                )
            )
        own = {field.name: getattr(sheet, field.name) for field in fields(Sheet)}
        given = {name: value for name, value in own.items() if value != getattr(Sheet(), name) and name != "article"}
        if found is not None:
            faults += [
                Fault(
                    code="contradiction",
                    detail="The article says what the sheet is made of; this field says it again.",
                    expected="one of the two",
                    path=("sheets", index, name),
                )
                for name in given
                if name in MADE_OF
            ]
            sheet = replace(found, **given)
        sheets.append(replace(sheet, article=None))
    return replace(job, sheets=tuple(sheets), stock=None), tuple(faults)


def _stock(name: str, path: Path, library: Library) -> Stock:
    if path.suffix.lower() not in SUFFIXES:
        raise FieldError(f"{path}: expected a file that ends in {', '.join(SUFFIXES)}")
    try:
        content = path.read_bytes()
    except OSError as error:
        raise FieldError(f"{path} cannot be read: {error.strerror}") from error
    if len(content) > LARGEST_BYTES:
        raise FieldError(f"{path}: expected at most {LARGEST_BYTES >> 20} MiB")
    entries = _toml_entries(path, content) if path.suffix.lower() == ".toml" else _rows(path)
    sheets: dict[str, Sheet] = {}
    schema = question_schema(Sheet)()
    for place, values in entries:
        article = values.pop("article", None)
        if not isinstance(article, str) or not article.strip():
            raise FieldError(f"{path}: {place}: expected an article number, as a text")
        if article in sheets:
            raise FieldError(f"{path}: {place}: the article {article} is there already")
        if len(sheets) == MOST_SHEETS:
            raise FieldError(f"{path}: expected at most {MOST_SHEETS} articles")
        try:
            sheet = decode_value({name: value for name, value in values.items() if name not in REMARKS}, schema)
            resolve_sheet(sheet, library)
        except Problem as problem:
            fault = problem.faults[0]
            key = " ".join(map(str, fault.path or ()))
            raise FieldError(f"{path}: {place}, {key}: {fault.detail} Expected {fault.expected}.") from problem
        except QuestionError as error:
            raise FieldError(f"{path}: {place}, {error.field}: {error} Expected {error.expected}.") from error
        sheets[article] = replace(sheet, label=sheet.label or article)
    if not sheets:
        raise FieldError(f"{path}: expected at least one article")
    return Stock(name=name, version=hashlib.sha256(content).hexdigest()[:16], sheets=sheets)


def _toml_entries(path: Path, content: bytes) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        text = content.decode("utf-8-sig")
        table = tomllib.loads(text)
    except ValueError as error:
        raise FieldError(f"{path}: {error}") from error
    unknown = sorted(set(table) - {"sheet", "source"})
    entries = table.get("sheet", [])
    if unknown or not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise FieldError(f"{path}: expected tables [[sheet]] and a source, got {', '.join(unknown) or 'another sheet'}")
    for index, entry in enumerate(entries):
        yield f"line {line_of(('sheet', index), text=text, syntax='toml')}", dict(entry)


def _rows(path: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    try:
        table = read_table(path)
        for row in table:
            if not row.blank:
                job = job_of(row.cells, meanings=table.meanings, decimal=table.decimal)
                yield f"row {row.number}", job["sheets"][0]
    except RowError as error:
        raise FieldError(f"{path}: row {row.number}: {error.faults[0]}") from error
    except TableError as error:
        raise FieldError(str(error)) from error


def stock_schema(description: Mapping[str, Any]) -> dict[str, Any]:
    """JSON Schema of a stock in TOML, from the published description of a sheet."""

    def moved(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: moved(item) for key, item in value.items()}
        if isinstance(value, list):
            return [moved(item) for item in value]
        return value.replace("#/components/schemas/", "#/$defs/") if isinstance(value, str) else value

    shapes: dict[str, Any] = moved(description["components"]["schemas"])
    needed: dict[str, Any] = {}
    wanted = ["SheetInput"]
    while wanted:
        name = wanted.pop()
        if name not in needed:
            needed[name] = shapes[name]
            wanted += re.findall(r'"#/\$defs/(\w+)"', json.dumps(shapes[name]))
    sheet = needed["SheetInput"]
    remarks = {name: {"type": "string", "description": "Where the entry is from."} for name in REMARKS}
    article = {"type": "string", "minLength": 1, "maxLength": 80, "description": "Article number."}
    properties = {**sheet["properties"], **remarks, "article": article}
    needed["SheetInput"] = {**sheet, "properties": properties, "required": ["article"]}
    return {
        "$schema": DIALECT,
        "title": "A stock of sheets by article number",
        "type": "object",
        "additionalProperties": False,
        "required": ["sheet"],
        "properties": {
            "source": {"type": "string", "description": "Where the entries are from."},
            "sheet": {
                "type": "array",
                "minItems": 1,
                "maxItems": MOST_SHEETS,
                "items": {"$ref": "#/$defs/SheetInput"},
            },
        },
        "$defs": needed,
    }
