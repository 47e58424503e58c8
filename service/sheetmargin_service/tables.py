"""Tables that ship with the package: TOML files in its folders, read as UTF-8."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any

from sheetmargin_service.errors import FieldError


def load_table(package: str, name: str) -> dict[str, Any]:
    """A table by its path below a package's folder (`data/threads.toml`); FieldError where it is no TOML."""
    try:
        return tomllib.loads(read_text(package, name))
    except tomllib.TOMLDecodeError as error:
        raise FieldError(f"{name}: {error}") from error


def read_text(package: str, name: str) -> str:
    """A file by its path below a package's folder."""
    return (resources.files(package) / name).read_text(encoding="utf-8")


def table_names(package: str, folder: str) -> list[str]:
    """Paths of the tables in a folder below a package's, sorted."""
    entries = (resources.files(package) / folder).iterdir()
    return sorted(f"{folder}/{entry.name}" for entry in entries if entry.name.endswith(".toml"))
