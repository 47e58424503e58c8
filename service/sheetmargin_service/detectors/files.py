"""The files of catalogues, by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sheetmargin_service.detectors.catalogue import REFERENCE, is_name
from sheetmargin_service.detectors.source_lines import Syntax
from sheetmargin_service.errors import FieldError

LARGEST_BYTES = 16 << 20
"""200 classes take about 200 kB."""

_SYNTAX: Mapping[str, Syntax] = {".toml": "toml", ".json": "json"}


@dataclass(frozen=True, kw_only=True)
class CatalogueFile:
    """The content of a file, as it was when it was read."""

    name: str
    path: Path
    text: str

    @property
    def syntax(self) -> Syntax:
        return _SYNTAX[self.path.suffix.lower()]


def named_paths(setting: str) -> dict[str, Path]:
    """The files of a setting, by name: `FILE`, or several as `NAME=FILE,NAME=FILE`; a file without a name has its stem.

    FieldError for a name that is none, given twice, or that of the reference catalogue.
    """
    paths: dict[str, Path] = {}
    for entry in setting.split(","):
        name, equals, path = entry.strip().partition("=")
        name, path = (name.strip(), path) if equals else (Path(name).stem, name)
        if not path:
            raise FieldError(f"expected FILE or NAME=FILE,NAME=FILE, got {setting!r}")
        if not is_name(name):
            raise FieldError(f"{name!r} is no name for a catalogue: letters, digits, dots, hyphens and underlines")
        if name == REFERENCE or name in paths:
            raise FieldError(f"the name {name} is taken; expected another, as in own={path}")
        paths[name] = Path(path.strip())
    return paths


def read_files(paths: Mapping[str, Path]) -> tuple[CatalogueFile, ...]:
    """The files' content; FieldError names the file that cannot be read."""
    return tuple(_read(name, path) for name, path in paths.items())


def _read(name: str, path: Path) -> CatalogueFile:
    if path.suffix.lower() not in _SYNTAX:
        raise FieldError(f"{path}: expected a file that ends in {' or '.join(_SYNTAX)}")
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
        if len(content) > LARGEST_BYTES:
            raise FieldError(f"{path}: expected at most {LARGEST_BYTES >> 20} MiB")
        return CatalogueFile(name=name, path=path, text=content.decode("utf-8-sig"))
    except OSError as error:
        raise FieldError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise FieldError(f"{path}: expected UTF-8, got byte {error.object[error.start]:#x}") from error
