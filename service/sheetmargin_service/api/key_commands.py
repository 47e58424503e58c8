"""Keys made, listed and revoked in their file, which its owner alone can read."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from sheetmargin_service.api.keys import new_key, parse_keys

_BEGINNING_OF_KEY = re.compile(r"^(?=\s*\[\[key\]\])", re.MULTILINE)


def add_key(path: Path, key_id: str, scopes: Sequence[str], origins: Sequence[str] = ()) -> str:
    """Add a key to the file, which need not exist, and return its token; publishable with origins.

    ValueError where the id is taken or the scopes do not go with the origins.
    """
    if not key_id.isidentifier():
        raise ValueError(f"{key_id!r} is no name of letters, digits and _")
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    token, entry = new_key(key_id, tuple(scopes), tuple(origins))
    _write(path, (before if before.endswith("\n") or not before else before + "\n") + entry)
    return token


def list_keys(path: Path) -> list[str]:
    """A line for each key: its id, scopes and origins."""
    found = parse_keys(path.read_bytes(), path)
    return [" ".join((key.id, *sorted(key.scopes), *sorted(key.origins))) for key in found.values()]


def revoke_key(path: Path, key_id: str) -> None:
    """Take a key out of the file; ValueError where there is none with this id."""
    if key_id not in parse_keys(path.read_bytes(), path):
        raise ValueError(f"{path}: there is no key {key_id}")
    head, *entries = _BEGINNING_OF_KEY.split(path.read_text(encoding="utf-8"))
    kept = [entry for entry in entries if key_id not in parse_keys(entry.encode(), path)]
    _write(path, "".join((head, *kept)))


def _write(path: Path, text: str) -> None:
    """Replace the file at once, so that no worker reads half of it."""
    parse_keys(text.encode(), path)
    path = path.resolve()
    with tempfile.NamedTemporaryFile("w", dir=path.parent, delete=False, encoding="utf-8") as file:  # its mode is 0600
        try:
            with suppress(FileNotFoundError):
                owner = path.stat()
                os.fchown(file.fileno(), owner.st_uid, owner.st_gid)
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
            os.replace(file.name, path)
        except BaseException:
            os.unlink(file.name)
            raise
