"""What the views work with, loaded once at start."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import metadata, resources
from importlib.resources.abc import Traversable
from typing import Protocol

from flask import current_app
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job

from sheetmargin_service.api.access import Gate
from sheetmargin_service.api.stock import Stock
from sheetmargin_service.detectors.catalogue import REFERENCE, Catalogue
from sheetmargin_service.materials.library import Library


class Recommend(Protocol):
    """From a job to its answer: pure."""

    def __call__(self, job: Job, *, catalogue: Catalogue, library: Library) -> Answer: ...


@dataclass(frozen=True, kw_only=True)
class Service:
    """Everything that an answer depends on beside the question.

    `default_catalogue` and the first of `stocks` are for jobs that name none. `catalogue_stale`: their files were to be
    taken up anew, and could not be.
    """

    gate: Gate
    catalogues: Mapping[str, Catalogue]
    library: Library
    recommend: Recommend
    principles: tuple[str, ...]
    build: str
    model_version: str
    default_catalogue: str = REFERENCE
    stocks: Mapping[str, Stock] = field(default_factory=dict)
    catalogue_stale: bool = False


def current_service() -> Service:
    """The service of the application that handles this request."""
    service: Service = current_app.extensions["sheetmargin"]
    return service


@cache
def package_build() -> str:
    """The distribution's version and a hash of the files that answers follow from, so that equal instances give equal
    tags."""
    digest = hashlib.sha256()
    for package in ("sheetmargin_service", "sheetmargin.contract"):
        for name, file in sorted(_files(resources.files(package))):
            digest.update(name.encode())
            digest.update(file.read_bytes())
    return f"{metadata.version('sheetmargin')}+{digest.hexdigest()[:12]}"


def _files(folder: Traversable, prefix: str = "") -> list[tuple[str, Traversable]]:
    found = []
    for entry in folder.iterdir():
        name = f"{prefix}/{entry.name}"
        if entry.is_dir():
            found += _files(entry, name) if entry.name != "__pycache__" else []
        else:
            found.append((name, entry))
    return found
