"""On which line of a file a value stands, so that an error can say where to look."""

from __future__ import annotations

import json
import re
import tomllib
from bisect import bisect_left
from collections.abc import Callable, Iterator
from typing import Any, Literal

Syntax = Literal["toml", "json"]
Path = tuple[str | int, ...]
"""Keys and list positions from the root."""

_JSON_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{},:]|[^\s\[\]{},:"]+')


def line_of(path: Path, *, text: str, syntax: Syntax) -> int | None:
    """The line, from 1, of the value at a path, or of the nearest table around it; None where not even that is there.

    The text has to be sound: this is for files that can be read and say something wrong.
    """
    find: Callable[[str, Path], int | None] = _line_in_toml if syntax == "toml" else _line_in_json
    lines = (find(text, path[:length]) for length in range(len(path), 0, -1))
    return next((line for line in lines if line is not None), None)


def _line_in_toml(text: str, path: Path) -> int | None:
    """The first line of the statement that brings the value about: TOML can be read up to the end of any statement."""
    lines = text.splitlines(keepends=True)

    def is_there(count: int) -> bool:
        """After so many lines and the rest of the statement that they cut."""
        while (table := _readable(lines[:count])) is None:
            count += 1
        return _has(table, path)

    return bisect_left(range(len(lines) + 1), True, key=is_there) if is_there(len(lines)) else None


def _readable(lines: list[str]) -> dict[str, Any] | None:
    try:
        return tomllib.loads("".join(lines))
    except tomllib.TOMLDecodeError:
        return None


def _has(value: Any, path: Path) -> bool:
    for step in path:
        if isinstance(step, int):
            if not isinstance(value, list) or step >= len(value):
                return False
        elif not isinstance(value, dict) or step not in value:
            return False
        value = value[step]
    return True


def _line_in_json(text: str, path: Path) -> int | None:
    return next((text.count("\n", 0, start) + 1 for found, start in _json_values(text) if found == path), None)


def _json_values(text: str) -> Iterator[tuple[tuple[str | int | None, ...], int]]:
    """The path of every member (first at its name) and item of a sound JSON text, and where it starts."""
    steps: list[str | int | None] = []  # into each open object or list; None where a name is to come
    for match in _JSON_TOKEN.finditer(text):
        token = match[0]
        if token in "]}":
            steps.pop()
        elif token == ",":
            last = steps.pop()
            steps.append(last + 1 if isinstance(last, int) else None)
        elif token != ":":
            if steps and steps[-1] is None:
                steps[-1] = json.loads(token)
            yield tuple(steps), match.start()
            if token in "[{":
                steps.append(0 if token == "[" else None)
