"""Catalogues of every principle's classes, those that ship with the service among them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache
from itertools import chain

from sheetmargin_service.detectors.catalogue import REFERENCE, Catalogue, parse_catalogue
from sheetmargin_service.detectors.files import CatalogueFile
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.detectors.source_lines import Syntax
from sheetmargin_service.errors import FieldError
from sheetmargin_service.principles import principles
from sheetmargin_service.tables import read_text


def read_catalogue(
    *, name: str, text: str, syntax: Syntax = "toml", reference: Sequence[DetectorClass] = ()
) -> Catalogue:
    """A catalogue of classes of any principle; see `parse_catalogue`."""
    return parse_catalogue(name=name, text=text, kinds=principles(), syntax=syntax, reference=reference)


@cache
def reference_catalogue() -> Catalogue:
    """The illustrative classes that ship with the service, from every principle's folder."""
    texts = [read_text(principle.folder, "reference.toml") for principle in principles().values()]
    parts = [read_catalogue(name=REFERENCE, text=text) for text in texts]
    version = hashlib.sha256("".join(part.version for part in parts).encode()).hexdigest()[:16]
    classes = tuple(chain.from_iterable(part.classes for part in parts))
    return Catalogue(name=REFERENCE, version=version, classes=classes)


def catalogues_of(files: Sequence[CatalogueFile]) -> dict[str, Catalogue]:
    """The catalogues by name, in order, the reference catalogue last; FieldError names file, line and key."""
    reference = reference_catalogue()
    catalogues = {}
    for file in files:
        try:
            catalogues[file.name] = read_catalogue(
                name=file.name, text=file.text, syntax=file.syntax, reference=reference.classes
            )
        except FieldError as error:
            raise FieldError(f"{file.path}: {error}", error.path) from error
    return {**catalogues, reference.name: reference}
