"""Settings of the service, from the environment, checked at start."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast, get_args

from rapidfuzz import fuzz

Access = Literal["open", "keys"]

# An origin as browsers send it (RFC 6454, section 6.2): lower case, no path, no slash at the end.
_ORIGIN = re.compile(r"https?://[a-z0-9.\[\]:-]+", re.ASCII)


class SettingError(ValueError):
    """A setting that cannot be used: the message begins with its name."""

    def __init__(self, name: str, detail: str) -> None:
        super().__init__(f"{name}: {detail}")
        self.name = name


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What can be set. `access` says who may ask: anybody (`open`), or holders of a key in `keys_file` (`keys`).

    `origins`: web origins whose pages may read answers, beside this service's own. `demo`: show the invented shop.
    """

    access: Access = "open"
    keys_file: Path | None = None
    origins: tuple[str, ...] = ()
    demo: bool = False


def settings_from(environment: Mapping[str, str] = os.environ) -> Settings:
    """Read the settings; SettingError names the first one that is wrong."""
    names = ("SHEETMARGIN_ACCESS", "SHEETMARGIN_KEYS_FILE", "SHEETMARGIN_ORIGINS", "SHEETMARGIN_DEMO")
    for name in environment:
        meant = [known for known in names if name != known and name not in names and fuzz.ratio(name, known) > 88]
        if name.startswith("SHEETMARGIN") and meant:
            # A misspelt SHEETMARGIN_ACCESS would leave the service open to everybody.
            raise SettingError(name, f"there is no such setting; did you mean {meant[0]}?")
    access = environment.get("SHEETMARGIN_ACCESS", "open")
    if access not in get_args(Access):
        raise SettingError("SHEETMARGIN_ACCESS", f"{access!r} is not one of {', '.join(get_args(Access))}")
    given = environment.get("SHEETMARGIN_KEYS_FILE")
    keys_file = Path(given) if given else None
    if access == "keys" and keys_file is None:
        raise SettingError("SHEETMARGIN_KEYS_FILE", "is needed when SHEETMARGIN_ACCESS is keys")
    if keys_file is not None and not keys_file.is_file():
        raise SettingError("SHEETMARGIN_KEYS_FILE", f"{keys_file} is not a file")
    return Settings(
        access=cast("Access", access),
        keys_file=keys_file,
        origins=_origins(environment.get("SHEETMARGIN_ORIGINS", "")),
        demo=_flag("SHEETMARGIN_DEMO", environment),
    )


def is_origin(text: str) -> bool:
    """Whether a text is an origin as browsers send it."""
    return _ORIGIN.fullmatch(text) is not None


def _origins(text: str) -> tuple[str, ...]:
    origins = tuple(text.split())
    for origin in origins:
        if not is_origin(origin):
            raise SettingError("SHEETMARGIN_ORIGINS", f"{origin!r} is not an origin such as https://shop.example")
    return origins


def _flag(name: str, environment: Mapping[str, str]) -> bool:
    text = environment.get(name, "off")
    if text not in ("on", "off"):
        raise SettingError(name, f"{text!r} is not one of on, off")
    return text == "on"
