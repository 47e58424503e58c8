"""The page that tells an ERP which field goes where names fields that there are."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from support.description import DESCRIPTION

GUIDE = Path(__file__).parents[2] / "docs" / "quoting.md"


def resolved(schema: dict[str, Any]) -> dict[str, Any]:
    for choice in (schema, *schema.get("anyOf", ())):
        if "$ref" in choice:
            found: dict[str, Any] = DESCRIPTION["components"]["schemas"][choice["$ref"].rsplit("/", 1)[1]]
            return found
    return schema


def test_every_field_of_the_table_is_described() -> None:
    _, _, table = GUIDE.read_text(encoding="utf-8").partition("Which field goes where:")
    rows = [line.split("|") for line in table.partition("Numbers are in")[0].splitlines() if line.startswith("| ")]
    checked = 0
    for row in rows[2:]:
        for name, cell in zip(("JobInput", "Answer"), row[2:4], strict=True):
            for path in re.findall("`([^`]+)`", cell):
                schema = DESCRIPTION["components"]["schemas"][name]
                for step in path.split("."):
                    schema = resolved(schema["properties"][step.removesuffix("[]")])
                    schema = resolved(schema["items"]) if step.endswith("[]") else schema
                checked += 1
    assert checked > 25
