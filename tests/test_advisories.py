"""A weakness with a fix fails a run; one without, and that none can be had, is told."""

from __future__ import annotations

import json
import runpy
from collections.abc import Callable
from pathlib import Path

import pytest

main: Callable[[str], int] = runpy.run_path(str(Path(__file__).parents[1] / ".ci" / "advisories.py"))["main"]


def report(*fixes: list[str]) -> str:
    weak = [{"id": f"CVE-{number}", "fix_versions": fix} for number, fix in enumerate(fixes)]
    return json.dumps(
        {"dependencies": [{"name": "one", "version": "1"}, {"name": "two", "version": "2", "vulns": weak}]}
    )


@pytest.mark.parametrize(
    ("text", "code", "told"),
    [
        (report(), 0, "2 packages, 0 weaknesses"),
        (report([]), 0, "two 2: CVE-0, no fix"),
        (report([], ["2.1", "3.0"]), 1, "two 2: CVE-1, fixed in 2.1, 3.0"),
        ("", 0, "none could be had"),
        ("{}", 0, "none could be had"),
    ],
)
def test_what_is_known(text: str, code: int, told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(text) == code
    captured = capsys.readouterr()
    assert told in captured.out + captured.err
