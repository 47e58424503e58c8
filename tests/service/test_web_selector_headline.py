"""The selector's headline where nothing is recommended: what its own modules say of an answer."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest
from sheetmargin_service.web.embed import PARTS

SELECTOR = files("sheetmargin_service.web") / "selector"
SCRIPT = """
const { AnswerView } = await import("./answer.mjs");
const { Speech } = await import("./words.mjs");
const [language, ...codes] = process.argv.slice(1);
const answer = { verdict: "unsuitable", job: {}, recommendations: [], sheets: [], assumptions: [],
  ruled_out: codes.map((code) => ({ code })) };
console.log(JSON.stringify(new AnswerView({ answer, names: [], speech: new Speech(language) }).summary()));
"""


@pytest.fixture
def headline(require_part: Callable[[str], str], tmp_path: Path) -> Callable[..., str]:
    node = require_part("node")
    # By this ending node takes a file for a module, whatever its version.
    for name in (name for name in PARTS if name != "element"):
        text = (SELECTOR / f"{name}.js").read_text(encoding="utf-8")
        (tmp_path / f"{name}.mjs").write_text(text.replace('.js";', '.mjs";'), encoding="utf-8")

    def said(language: str, *codes: str) -> str:
        command = [node, "--input-type=module", "-e", SCRIPT, language, *codes]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60)
        text: str = json.loads(done.stdout)
        return text

    return said


@pytest.mark.parametrize(
    ("language", "codes", "told"),
    [
        ("en", ["requirement-missed"] * 2, "Not suitable. No detector class in this catalogue meets the requirements."),
        (
            "de",
            ["requirement-missed"],
            "Nicht geeignet. Keine Detektorklasse dieses Katalogs erfüllt die Anforderungen.",
        ),
        (
            "en",
            ["no-room-for-head", "outside-rating"],
            "Not suitable. No detector class in this catalogue is rated for this air and fits the machine.",
        ),
        (
            "en",
            ["requirement-missed", "one-looks-like-two"],
            "Not suitable. No detector class in this catalogue can tell a single sheet from a double.",
        ),
        ("en", [], "Not suitable. No detector class in this catalogue can tell a single sheet from a double."),
    ],
)
def test_the_headline_says_why_no_class_was_asked_about_the_sheets(
    headline: Callable[..., str], language: str, codes: list[str], told: str
) -> None:
    assert headline(language, *codes) == told
