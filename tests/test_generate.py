"""What is generated is written by one command, which tells drift."""

from __future__ import annotations

import re
import runpy
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
GENERATE = runpy.run_path(str(ROOT / ".ci" / "generate.py"))
main: Callable[..., int] = GENERATE["main"]


@pytest.fixture
def page(tmp_path: Path) -> Path:
    file = tmp_path / "page.md"
    file.write_text("one\ntwo\n")
    return file


def test_drift_is_told_and_nothing_written(page: Path, capsys: pytest.CaptureFixture[str]) -> None:
    generators = {"page": lambda: {page: "one\n2\n"}, "other": lambda: {page: page.read_text()}}
    assert main(["--check"], generators=generators) == 1
    told = capsys.readouterr()
    assert "-two\n+2\n" in told.out
    assert ".ci/generate.py" in told.err
    assert page.read_text() == "one\ntwo\n"
    assert main(["--check", "other"], generators=generators) == 0
    assert main([], generators=generators) == 0
    assert page.read_text() == "one\n2\n"
    assert main(["--check"], generators=generators) == 0


def test_a_file_that_is_not_there_is_drift_and_is_made(tmp_path: Path) -> None:
    generators = {"page": lambda: {tmp_path / "new.md": "one\n"}}
    assert main(["--check"], generators=generators) == 1
    assert main(["page"], generators=generators) == 0
    assert (tmp_path / "new.md").read_text() == "one\n"


@pytest.mark.parametrize(
    ("new", "drift"),
    [("rate 10.031, 2 sheets, 1.5", 0), ("rate 10.2, 2 sheets, 1.5", 1), ("rate 10.0, 3 sheets, 1.5", 1), ("", 1)],
    ids=["rounding", "another number", "another count", "nothing"],
)
def test_only_the_rounding_of_decimals_is_no_drift(page: Path, new: str, drift: int) -> None:
    page.write_text("rate 10.0, 2 sheets, 1.5")
    assert main(["--check"], generators={"page": lambda: {page: new}}) == drift


def test_nothing_by_that_name(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["openapi"])
    assert "description" in capsys.readouterr().err


def test_the_settings_have_their_place() -> None:
    """The guide as it is, and with another table."""
    ((file, text),) = GENERATE["settings"]().items()
    assert text == file.read_text(encoding="utf-8"), "run `python .ci/generate.py`"
    assert "| `SHEETMARGIN_ACCESS` |" in text


def test_developers_are_told_of_every_generator() -> None:
    section = (
        (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## What is generated")[2].partition("\n## ")[0]
    )
    assert re.findall(r"^\| `([a-z-]+)` \|", section, re.M) == list(GENERATE["GENERATORS"])


def test_ci_checks_all() -> None:
    assert ".ci/generate.py --check\n" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
