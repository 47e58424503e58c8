"""What is the same in every call: the environment, and a settings file in TOML.

An option goes before the environment, the environment before the file.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from sheetmargin.cli.fields import plain_fields
from sheetmargin.cli.parser import nearest
from sheetmargin.cli.speech import say
from sheetmargin.contract.job import Targets
from sheetmargin.errors import InvalidJob

FORMATS = ("table", "json", "csv", "md")


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The keys of the settings file; each is empty where neither it nor the environment says anything."""

    url: str | None = None
    """Address of a service; without one the service installed here is asked."""
    catalogue: str | None = None
    """Catalogue file, or the name of a catalogue of the service."""
    language: str | None = None
    """`en` or `de`."""
    format: str | None = None
    """`table`, `json`, `csv` or `md`."""
    timeout: float | None = None
    """Seconds to wait for a service."""
    targets: Mapping[str, float] = field(default_factory=dict)
    """Table of targets by the names of the contract, per million."""


def settings_path() -> Path:
    """`SHEETMARGIN_SETTINGS`, else `sheetmargin/settings.toml` below `XDG_CONFIG_HOME` (XDG Base Directory
    Specification), which is `~/.config` where it is not set."""
    named = os.environ.get("SHEETMARGIN_SETTINGS")
    if named:
        return Path(named)
    home = os.environ.get("XDG_CONFIG_HOME", "")
    return (Path(home) if home.startswith("/") else Path.home() / ".config") / "sheetmargin" / "settings.toml"


def load_settings() -> Settings:
    """From the file, where there is one, and SHEETMARGIN_URL. InvalidJob, naming file and key, where one is wrong."""
    path = settings_path()
    found: dict[str, Any] = {}
    if path.is_file() or "SHEETMARGIN_SETTINGS" in os.environ:
        found = _checked(path, _read(path))
    if url := os.environ.get("SHEETMARGIN_URL"):
        found["url"] = url
    return Settings(**found)


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InvalidJob(say("unreadable", file=path, why=error.strerror)) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InvalidJob(say("no-toml", file=path, why=error)) from error


def _checked(path: Path, found: dict[str, Any]) -> dict[str, Any]:
    known = {each.name for each in fields(Settings)}
    for key, value in found.items():
        if key not in known:
            raise InvalidJob(say("unknown-key", file=path, key=key) + nearest(key, known))
        if key == "targets":
            _check_targets(path, value)
        elif key == "timeout":
            if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
                raise InvalidJob(say("wrong-key", file=path, key=key, expected=say("number-above-0")))
        elif not isinstance(value, str) or (key == "format" and value not in FORMATS):
            expected = ", ".join(FORMATS) if key == "format" else say("a-text")
            raise InvalidJob(say("wrong-key", file=path, key=key, expected=expected))
    return found


def _check_targets(path: Path, value: object) -> None:
    known = plain_fields(Targets)
    for key, ppm in value.items() if isinstance(value, dict) else [("", None)]:
        if key not in known:
            raise InvalidJob(say("unknown-key", file=path, key=f"targets.{key}") + nearest(key, known))
        if isinstance(ppm, bool) or not isinstance(ppm, int | float):
            raise InvalidJob(say("wrong-key", file=path, key=f"targets.{key}", expected=say("number-above-0")))
