"""The package for npm: its manifest says what the script has, its types what the description has."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from typing import Any

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.web import npm_package
from sheetmargin_service.web.embed import PARTS, script
from support.shop import GUIDE

SELECTOR = files("sheetmargin_service.web") / "selector"
MODULES = "\n".join((SELECTOR / f"{name}.js").read_text(encoding="utf-8") for name in PARTS)
ANSWER_NOTES = {"trial", "assumptions", "alternatives", "ruled-out"}  # parts whose names are also those of texts


def names(kind: str) -> set[str]:
    return {one["name"] for one in npm_package.manifest()[kind]}


def test_the_manifest_has_what_the_script_has() -> None:
    parts = set(re.findall(r'part: "([a-z-]+)"', MODULES)) | ANSWER_NOTES
    assert names("cssParts") == parts
    style = (SELECTOR / "selector.css").read_text(encoding="utf-8")
    assert names("cssProperties") == set(re.findall(r"--sheet-selector-[a-z-]+", style))
    assert names("events") == {f"sheet-selector:{name}" for name in re.findall(r'#emit\("(\w+)"', MODULES)}
    assert names("slots") == {"", *re.findall(r'h\("slot", \{ name: "(\w+)"', MODULES)}
    read = set(re.findall(r'getAttribute\("([a-z-]+)"\)', MODULES))
    assert names("attributes") == read | {"name"}  # which forms read
    public = re.findall(
        r"^  (?:static |get )?(\w+)(?: = addWords|\([^)]*\) \{)", (SELECTOR / "element.js").read_text(), re.M
    )
    callbacks = {name for name in public if name.endswith("Callback")} | {"constructor", "set"}
    assert names("members") == set(public) - callbacks


@pytest.mark.parametrize("kind", ["attributes", "members", "events", "slots", "cssProperties", "cssParts"])
def test_the_guide_names_everything(kind: str) -> None:
    guide = GUIDE.read_text(encoding="utf-8")
    for name in names(kind):
        assert re.search(rf"`[^`]*{re.escape(name.removeprefix('--sheet-selector'))}[^`]*`", guide), name


def test_the_types_name_everything() -> None:
    types = (files("sheetmargin_service.web") / "npm" / "selector.d.ts").read_text(encoding="utf-8")
    for name in names("attributes") - {"key"} | names("members") | names("events"):
        assert re.search(rf'(?<![\w-])"?{re.escape(name)}"?[?:(<]', types), name


def test_types_follow_the_schemas() -> None:
    schemas: dict[str, Any] = {
        "Answer": {
            "description": "An\nanswer */.",
            "required": ["of", "kind"],
            "properties": {
                "of": {"type": "array", "items": {"$ref": "#/components/schemas/Part"}},
                "kind": {"type": "string", "enum": ["a", "b"]},
                "size": {"anyOf": [{"type": "number"}, {"type": ["integer", "null"]}]},
                "by_name": {"type": "object", "additionalProperties": {"type": "boolean"}},
            },
        },
        "Part": {"type": "string"},
        "Unused": {"type": "string"},
    }
    text = npm_package.typescript(schemas, ("Answer",))
    assert "/** An answer * /. */\nexport interface Answer {\n" in text
    for line in (
        '"of": Array<Part>;', '"kind": "a" | "b";', '"size"?: number | number | null;',
        '"by_name"?: Record<string, boolean>;', "export type Part = string;",
    ):  # fmt: skip
        assert line in text
    assert "Unused" not in text


def test_the_package_is_whole(api: FlaskClient) -> None:
    package = npm_package.files(api.get("/openapi.json").get_json()["components"]["schemas"])
    about = json.loads(package["package.json"])
    assert re.fullmatch(r"\d+\.\d+\.\d+", about["version"])
    named = re.findall(r'": "(?:\./)?([\w.-]+\.(?:js|ts|json))"', package["package.json"])
    assert named
    assert set(named) <= set(package)
    assert package["selector.js"].encode() == script().body
    for answer in ("Answer", "Recommendation", "Problem", "Job"):
        assert re.search(rf"^export interface {answer} ", package["api.d.ts"], re.MULTILINE)
