"""The model's version: a hash of everything that can change an answer."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

PARTS = ("acoustics", "materials", "detectors", "prediction", "selection", "bench")


@cache
def model_version() -> str:
    """Twelve hex digits over the sources and tables below the transport layer."""
    root = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256()
    for part in PARTS:
        for path in sorted((root / part).rglob("*")):
            if path.suffix in (".py", ".toml", ".json"):
                digest.update(path.relative_to(root).as_posix().encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()[:12]
