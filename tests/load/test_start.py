"""A start with operators from a folder: nothing is computed a second time, and the log tells how long it took."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.catalogues import many_classes
from support.servers import gunicorn

CLASSES = 40
"""The reference classes are built as well."""


def told(log: Path) -> Iterator[dict[str, Any]]:
    return (json.loads(line) for line in log.read_text(encoding="utf-8").splitlines())


@pytest.mark.long
def test_a_second_start_reads_the_operators(tmp_path: Path) -> None:
    catalogue = tmp_path / "own.toml"
    catalogue.write_text(many_classes(CLASSES), encoding="utf-8")
    kept = tmp_path / "operators"
    seconds, files = [], []
    for folder in (tmp_path / "first", tmp_path / "second"):
        folder.mkdir()
        environment = {"SHEETMARGIN_CATALOGUE": str(catalogue), "SHEETMARGIN_CACHE_DIR": str(kept)}
        with gunicorn(folder, environment=environment) as server:
            lines = {line["message"]: line for line in told(server.log)}
        assert lines["operators are built"]["classes"] > CLASSES
        assert lines["ready to fork workers"]["seconds"] > lines["operators are built"]["seconds"]
        seconds.append(lines["operators are built"]["seconds"])
        files.append({file.name: file.stat().st_mtime_ns for file in kept.iterdir()})
    assert len(files[0]) > CLASSES
    assert files[1] == files[0]
    # Both on one machine within seconds of each other; undisturbed it is a fifth.
    assert seconds[1] < 0.5 * seconds[0]
