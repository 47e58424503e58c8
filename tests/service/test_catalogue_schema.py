"""The JSON Schema of a catalogue file: shipped as it is made, and of one mind with what is read."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from typing import Any

import pytest
from jsonschema_rs import Draft202012Validator, meta
from sheetmargin_service.detectors.schema import catalogue_schema, shipped_schema, written
from sheetmargin_service.errors import FieldError
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import read_catalogue, reference_catalogue
from sheetmargin_service.tables import load_table
from support.catalogues import OWN

VALIDATOR = Draft202012Validator(catalogue_schema(principles()))
TABLE = tomllib.loads(OWN)


def test_the_shipped_copy_is_current() -> None:
    assert shipped_schema().decode() == written(principles()), "run `python .ci/generate.py`"


def test_it_is_a_schema() -> None:
    meta.validate(catalogue_schema(principles()))


def test_catalogues_are_valid() -> None:
    for table in (TABLE, *(load_table(principle.folder, "reference.toml") for principle in principles().values())):
        VALIDATOR.validate(table)


def changed(place: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    table = deepcopy(TABLE)
    owner: Any = table
    for step in place[:-1]:
        owner = owner[step]
    if value is KeyError:
        del owner[place[-1]]
    else:
        owner[place[-1]] = value
    return table


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("colour",), "red"),
        (("class", 0, "housing"), KeyError),
        (("defaults", "supply"), KeyError),
        (("defaults", "contactless"), KeyError),
        (("class", 0, "order"), KeyError),
        (("class", 0, "housing", "length_mm"), 0),
        (("class", 0, "housing", "cable_exit_mm"), -1),
        (("class", 0, "housing", "pitch_mm"), KeyError),
        (("class", 0, "housing", "thread"), "rectangular"),
        (("class",), []),
        (("class", 0, "id"), KeyError),
        (("class", 0, "id"), "a b"),
        (("class", 0, "colour"), "red"),
        (("class", 0, "principle"), "sniffing"),
        (("class", 0, "order", 0, "quantity"), 0),
        (("class", 0, "order", 0, "when"), "sometimes"),
        (("class", 0, "order", 0, "role"), KeyError),
        (("class", 0, "order"), []),
        (("class", 0, "housing", "thread"), 18),
        (("class", 0, "housing", "length_mm"), KeyError),
        (("class", 0, "filled"), {"reference_class": "x", "parameters": []}),
        (("class", 1, "parameters", "drive"), "steam"),
        (("class", 1, "parameters", "gate_us"), "48"),
        (("class", 1, "parameters", "coil_length_mm"), 5),
        (("class", 1, "ingress"), "67"),
        (("defaults", "colour"), "red"),
        (("defaults", "contactless"), 1),
    ],
    ids=str,
)
def test_what_the_schema_refuses_is_not_read_either(place: tuple[str | int, ...], value: Any) -> None:
    table = changed(place, value)
    assert not VALIDATOR.is_valid(table)
    with pytest.raises(FieldError):
        read_catalogue(name="own", text=json.dumps(table), syntax="json", reference=reference_catalogue().classes)


def numbers() -> Iterator[Any]:
    """A table with one class of each principle, and each of its numbers."""
    for principle in principles().values():
        table = dict(load_table(principle.folder, "reference.toml"))
        table["class"] = table["class"][:1]
        for name, value in table["class"][0]["parameters"].items():
            if isinstance(value, int | float) and not isinstance(value, bool):
                yield pytest.param(table, name, id=f"{principle.id}-{name}")


@pytest.mark.parametrize(("table", "name"), list(numbers()))
@pytest.mark.parametrize("value", [-1, 0, 1e-12, 1.5, 1e9])
def test_what_the_schema_passes_is_read_but_for_rules_between_fields(
    table: dict[str, Any], name: str, value: float
) -> None:
    table = deepcopy(table)
    parameters = table["class"][0]["parameters"]
    parameters[name] = value
    text, reference = json.dumps(table), reference_catalogue().classes
    rule = ""
    try:
        read_catalogue(name="own", text=text, syntax="json", reference=reference)
    except FieldError as error:
        rule = str(error).rpartition("expected ")[2]
    between = [field for field in (*parameters, "frequency", "period") if field in rule and field != name]
    assert VALIDATOR.is_valid(table) == (not rule or bool(between)), rule
