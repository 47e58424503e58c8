"""The selector as a package for npm: the script, its types, and its custom-elements manifest.

`python -m sheetmargin_service.web.npm_package FOLDER openapi.json` writes it there, ready for `npm pack`.
The types of answers are made from the description, that of the repository or of a running service.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from functools import cache
from importlib import metadata, resources
from pathlib import Path
from typing import Any

from sheetmargin_service.web.embed import script

ROOTS = ("Answer", "Job", "Problem")
"""Schemas that the element's properties and events carry."""

_SCALARS = {"string": "string", "number": "number", "integer": "number", "boolean": "boolean", "null": "null"}


@cache
def manifest() -> dict[str, Any]:
    """The custom element as its manifest declares it: attributes, members, events, slots, parts, custom properties."""
    text = (resources.files(__package__) / "npm" / "custom-elements.json").read_text(encoding="utf-8")
    (element,) = json.loads(text)["modules"][0]["declarations"]
    return dict(element)


def typescript(schemas: Mapping[str, Any], roots: tuple[str, ...] = ROOTS) -> str:
    """Interfaces of the schemas, JSON Schema as OpenAPI 3.1 has it, and of all that they refer to."""
    wanted, written = list(roots), dict[str, str]()
    for name in wanted:
        if name not in written:
            written[name] = _declared(name, schemas[name], wanted)
    texts = [written[name] for name in sorted(written)]
    return "\n".join(["// Made from the description of the API; do not edit.\n", *texts])


def _declared(name: str, schema: Mapping[str, Any], wanted: list[str]) -> str:
    if "properties" not in schema:
        return f"{_comment(schema)}export type {name} = {_type(schema, wanted)};\n"
    always = schema.get("required", ())
    fields = [
        f"{_comment(shape, '  ')}  {json.dumps(field)}{'' if field in always else '?'}: {_type(shape, wanted)};\n"
        for field, shape in schema["properties"].items()
    ]
    return f"{_comment(schema)}export interface {name} {{\n{''.join(fields)}}}\n"


def _comment(schema: Mapping[str, Any], indent: str = "") -> str:
    text = " ".join(str(schema.get("description", "")).split()).replace("*/", "* /")
    return f"{indent}/** {text} */\n" if text else ""


def _type(schema: Mapping[str, Any], wanted: list[str]) -> str:
    if "$ref" in schema:
        name = str(schema["$ref"]).rsplit("/", 1)[1]
        wanted.append(name)
        return name
    if "anyOf" in schema:
        return " | ".join(dict.fromkeys(_type(choice, wanted) for choice in schema["anyOf"]))
    if "enum" in schema:
        return " | ".join(json.dumps(value) for value in schema["enum"])
    kinds = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    return " | ".join(_plain(kind, schema, wanted) for kind in kinds)


def _plain(kind: str, schema: Mapping[str, Any], wanted: list[str]) -> str:
    if kind == "array":
        return f"Array<{_type(schema['items'], wanted)}>"
    if kind == "object":
        values = schema.get("additionalProperties")
        return f"Record<string, {_type(values, wanted) if isinstance(values, Mapping) else 'unknown'}>"
    return _SCALARS[kind]


def files(schemas: Mapping[str, Any]) -> dict[str, str]:
    """The package's files by name."""
    folder = resources.files(__package__) / "npm"
    shipped = {file.name: file.read_text(encoding="utf-8") for file in folder.iterdir()}
    about = {"version": metadata.version("sheetmargin"), **json.loads(shipped["package.json"])}
    return shipped | {
        "package.json": json.dumps(about, indent=2) + "\n",
        "selector.js": script().body.decode(),
        "api.d.ts": typescript(schemas),
    }


def main(folder: Path, description: Path) -> None:
    """Write the package."""
    schemas = json.loads(description.read_text(encoding="utf-8"))["components"]["schemas"]
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files(schemas).items():
        (folder / name).write_text(text, encoding="utf-8")
    print(f"{folder}: the selector with {script().integrity}")


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
