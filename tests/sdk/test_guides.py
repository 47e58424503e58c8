"""The guides show what the code does."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from sheetmargin.cli import batch, command, recommend
from sheetmargin.report.quote import COLUMNS

ROOT = Path(__file__).parents[2]
COMMANDS = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")


def test_exit_codes_are_told_alike() -> None:
    table = dict(re.findall(r"^\| (\d+) \| (.+) \|$", COMMANDS, re.M))
    assert set(table) == {
        str(code)
        for code in (
            command.SERVES,
            command.BAD_INPUT,
            recommend.NOTHING_SERVES,
            command.NO_ANSWER,
            batch.SOME_BAD,
            command.INTERRUPTED,
        )
    }
    assert all(re.search(rf"^  {code} ", command.EXIT_CODES, re.M) for code in table)


def test_every_column_of_a_quote_is_told() -> None:
    guide = (ROOT / "docs" / "quoting.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.+`) \| .+ \|$", guide, re.M)
    assert [name for row in rows for name in re.findall(r"`(\w+)`", row)] == list(COLUMNS)


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    packages = [
        *project["dependencies"],
        *(one for extra in project["optional-dependencies"].values() for one in extra),
    ]
    wanted = {re.split(r"[\[<>=]", one)[0] for one in packages}
    rows = re.findall(r"^\| ([\w, -]+) \| .+ \|$", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.M)
    told = {name for row in rows for name in row.split(", ")}
    assert wanted - {"sheetmargin"} <= told


def test_ci_installs_every_part_that_a_test_may_ask_for(request: pytest.FixtureRequest) -> None:
    """`.ci/run` and the fixture `require_part` know the same parts."""
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    conftest = (ROOT / "tests" / "conftest.py").read_text(encoding="utf-8")
    parts = set(re.findall(r'^    "(\w+)": \(', conftest, re.M))
    assert parts
    for table in ("packages", "present"):
        (line,) = re.findall(rf"^declare -A {table}=\((.+)\)$", ci, re.M)
        assert set(re.findall(r"\[(\w+)\]=", line)) == parts


def test_every_link_of_the_guides_leads_somewhere() -> None:
    def anchor(heading: str) -> str:
        return re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")

    dead = []
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))):
        for link in re.findall(r"\]\(((?!http)[^)]+)\)", page.read_text(encoding="utf-8")):
            path, _, place = link.partition("#")
            target = page.parent / path if path else page
            headings = re.findall(r"^#+ (.+)$", target.read_text(encoding="utf-8"), re.M) if place else []
            if not target.exists() or (place and place not in map(anchor, headings)):
                dead.append((page.name, link))
    assert not dead


def test_every_guide_says_for_whom_it_is_and_what_comes_next() -> None:
    for page in sorted((ROOT / "docs").glob("*.md")):
        start = " ".join(page.read_text(encoding="utf-8")[:1500].split())
        if page.name not in ("glossary.md", "licences.md"):
            assert " For " in start, page.name
            assert "](" in start, page.name
