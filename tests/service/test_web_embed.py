"""The selector's script: whole, small, and at an address that pins it."""

from __future__ import annotations

import base64
import gzip
import hashlib
import re
from importlib import resources
from importlib.resources import files

import pytest
from flask.testing import FlaskClient
from sheetmargin_service.web import embed

LIMIT = 30_000
"""Bytes that the script may have when compressed."""


def test_every_module_is_in_it_once() -> None:
    folder = resources.files("sheetmargin_service.web") / "selector"
    modules = {file.name.removesuffix(".js") for file in folder.iterdir() if file.name.endswith(".js")}
    assert sorted(embed.PARTS) == sorted(modules)
    for position, part in enumerate(embed.PARTS):
        text = (folder / f"{part}.js").read_text(encoding="utf-8")
        needed = re.findall(r'^import .+ from "\./(\w+)\.js";$', text, re.MULTILINE)
        assert set(needed) <= set(embed.PARTS[:position]), f"{part} stands before what it imports"


def test_it_is_one_module_without_leftovers() -> None:
    text = embed.script().body.decode()
    assert re.findall(r"^\s*(?:import|export)\s.*", text, re.MULTILINE) == ["export { SheetSelector };"]
    assert "__VERSION__" not in text
    assert "__STYLE__" not in text
    folder = files("sheetmargin_service.web") / "selector"
    modules = "\n".join((folder / f"{name}.js").read_text(encoding="utf-8") for name in embed.PARTS)
    names = re.findall(r"^(?:export )?(?:const|let|function|class) (\w+)", modules, re.MULTILINE)
    assert len(names) == len(set(names)), "two modules use one name"


def test_it_is_small() -> None:
    assert len(gzip.compress(embed.script().body, 9)) < LIMIT


def test_it_makes_no_markup_from_text_and_sets_no_style() -> None:
    text = embed.script().body.decode()
    for forbidden in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "new Function",
        ".style",
    ):
        assert forbidden not in text


def test_the_moving_address(api: FlaskClient) -> None:
    response = api.get("/embed/v1/selector.js", headers={"Origin": "https://anywhere.example"})
    assert response.data == embed.script().body
    assert response.mimetype == "text/javascript"
    assert response.headers["Cache-Control"] == "public, max-age=300"
    assert response.headers["Access-Control-Allow-Origin"] == "*"
    assert response.headers["Cross-Origin-Resource-Policy"] == "cross-origin"
    held = api.get("/embed/v1/selector.js", headers={"If-None-Match": response.headers["ETag"]})
    assert held.status_code == 304


def test_the_pinned_address(api: FlaskClient, capsys: pytest.CaptureFixture[str]) -> None:
    embed.main()
    tag = capsys.readouterr().out
    path = re.search(r'src="https://SERVICE(/embed/selector-[0-9a-f]{16}\.js)"', tag)
    pinned = re.search(r'integrity="sha384-([A-Za-z0-9+/=]+)"', tag)
    assert path is not None
    assert pinned is not None
    response = api.get(path[1])
    assert "immutable" in response.headers["Cache-Control"]
    assert hashlib.sha384(response.data).digest() == base64.b64decode(pinned[1])
    assert api.get("/embed/selector-0123456789abcdef.js").status_code == 404


def test_the_version_follows_from_the_text(monkeypatch: pytest.MonkeyPatch) -> None:
    def version() -> str:
        embed.script.cache_clear()
        found = re.search(r'const VERSION = "([0-9a-f]{12})"', embed.script().body.decode())
        assert found is not None
        return found[1]

    before = version()
    assert version() == before
    monkeypatch.setattr(embed, "PARTS", (*embed.PARTS[:-1], "dom", embed.PARTS[-1]))
    assert version() != before
    monkeypatch.undo()
    assert version() == before
