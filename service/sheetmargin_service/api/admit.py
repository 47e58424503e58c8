"""The checks of a job that need the library and the catalogues: does everything it names exist, and make sense?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from sheetmargin_service.api.faults import Fault, faults_of, nearest
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.service import Service
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.errors import Path, QuestionError
from sheetmargin_service.materials.resolve import canonical_spec, resolve_sheet
from sheetmargin_service.selection.job import Job


@dataclass(frozen=True, kw_only=True)
class Question:
    """A job that can be answered: names are ids, sheets make sense, the catalogue exists."""

    job: Job
    catalogue: Catalogue


def admit(job: Job, service: Service, *, in_query: bool = False) -> Question:
    """The question that a valid job asks; Problem with every fault found where it asks none."""
    faults = [*_unknown_names(job, service)]
    sheets = []
    for index, spec in enumerate(job.sheets):
        try:
            resolve_sheet(spec, service.library)
            sheets.append(canonical_spec(spec, service.library))
        except QuestionError as error:
            faults += faults_of(error, ("sheets", index))
    if faults:
        raise Problem("invalid-values", *faults, in_query=in_query)
    catalogue = service.catalogues[job.catalogue or service.default_catalogue]
    return Question(job=replace(job, sheets=tuple(sheets), catalogue=catalogue.name), catalogue=catalogue)


def _unknown_names(job: Job, service: Service) -> Iterator[Fault]:
    yield from _unknown("principle", job.principles, service.principles, ("principles",))
    name = job.catalogue or service.default_catalogue
    catalogue = service.catalogues.get(name)
    if catalogue is None:
        yield unknown_catalogue(name, service.catalogues)
        return
    ids = [c.id for c in catalogue.classes]
    yield from _unknown("class", job.classes, ids, ("classes",))
    threads = sorted({c.housing.thread for c in catalogue.classes})
    yield from _unknown("housing", job.require.housing, threads, ("require", "housing"))
    outputs = sorted({output for c in catalogue.classes for output in c.output})
    yield from _unknown("output", job.require.output, outputs, ("require", "output"))
    supplies = sorted({c.supply for c in catalogue.classes})
    yield from _unknown("supply", job.require.supply, supplies, ("require", "supply"))


def _unknown(kind: str, names: Iterable[str], known: Iterable[str], path: Path) -> Iterator[Fault]:
    for index, name in enumerate(names):
        if name not in known:
            yield _fault(kind, name, known, (*path, index))


def unknown_catalogue(name: str, known: Iterable[str]) -> Fault:
    """The fault of a catalogue that does not exist."""
    return _fault("catalogue", name, known, ("catalogue",))


def _fault(kind: str, name: str, known: Iterable[str], path: Path) -> Fault:
    return Fault(
        code=f"unknown-{kind}",
        detail=f"There is no such {kind}.",
        expected="one of " + ", ".join(known),
        suggestions=nearest(name, known),
        path=path,
    )
