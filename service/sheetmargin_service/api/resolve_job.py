"""The checks of a job across its fields, against the library and the catalogues: does all that it names exist, and make
sense together?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from sheetmargin.contract.job import Job, Line
from sheetmargin.contract.measure import InstalledProfile

from sheetmargin_service.api.faults import Fault, faults_of, nearest
from sheetmargin_service.api.problems import Problem
from sheetmargin_service.api.schemas.derive import asked_field
from sheetmargin_service.api.service import Service
from sheetmargin_service.api.stock import with_articles
from sheetmargin_service.detectors.catalogue import Catalogue
from sheetmargin_service.errors import Filled, Path, QuestionError
from sheetmargin_service.materials.resolve import MAX_PLIES, canonical_spec, resolve_sheet
from sheetmargin_service.mounting.stream import stream_of

MAX_LAYERS_IN_ALL = 300
"""Of all sheets of a job, six for each of fifty: the work of a job grows with them (a choice)."""


@dataclass(frozen=True, kw_only=True)
class CheckedJob:
    """A job that can be answered: names are ids, sheets make sense, the catalogue exists."""

    job: Job
    catalogue: Catalogue


def resolve_job(job: Job, service: Service, *, also: Iterable[Fault] = (), in_query: bool = False) -> CheckedJob:
    """The job made ready; Problem with every fault found, those that were found already among them."""
    job, wrong_articles = with_articles(job, service.stocks)
    if wrong_articles:
        raise Problem("invalid-values", *wrong_articles, *also, in_query=in_query)
    faults = [*_contradictions(job), *_unknown_names(job, service)]
    sheets = []
    for index, spec in enumerate(job.sheets):
        try:
            resolve_sheet(spec, service.library)
            sheets.append(canonical_spec(spec, service.library))
        except QuestionError as error:
            faults += faults_of(error, ("sheets", index))
    faults += also
    if faults:
        raise Problem("invalid-values", *faults, in_query=in_query)
    catalogue = service.catalogues[job.catalogue or service.default_catalogue]
    return CheckedJob(job=replace(job, sheets=tuple(sheets), catalogue=catalogue.name), catalogue=catalogue)


def _contradictions(job: Job) -> Iterator[Fault]:
    """What cannot be together."""
    yield from _falling(job.line, "line", low="edge_distance_mm", high="sheet_width_mm")
    yield from _falling(job.environment, "environment", low="temperature_min_c", high="temperature_max_c")
    humidity = {"low": "relative_humidity_min_pct", "high": "relative_humidity_max_pct"}
    yield from _falling(job.environment, "environment", **humidity)
    yield from _falling(job.require, "require", low="temperature_min_c", high="temperature_max_c")
    yield from _unknown_stream(job.line)
    stream, plies = stream_of(job.line), max(sheet.plies for sheet in job.sheets)
    if stream is not None and stream.most * plies > MAX_PLIES:
        yield Fault(
            code="out-of-range",
            detail=Filled("At this pitch {plies} plies overlap.", plies=stream.most * plies),
            expected=Filled("a pitch at which at most {plies} overlap", plies=MAX_PLIES),
            path=("line", "shingle_pitch_mm"),
        )
    layers = sum(len(sheet.layers or ()) for sheet in job.sheets)
    if layers > MAX_LAYERS_IN_ALL:
        yield Fault(
            code="too-many-layers",
            detail=Filled("The sheets have {layers} layers in all.", layers=layers),
            expected=Filled("at most {layers} layers in all sheets together", layers=MAX_LAYERS_IN_ALL),
            path=("sheets",),
        )


def _falling(part: Any, place: str, *, low: str, high: str) -> Iterator[Fault]:
    """A lower limit above its upper one, told of both."""
    least, most = getattr(part, low), getattr(part, high)
    if least is not None and most is not None and least > most:
        for name in (low, high):
            expected = Filled("{low} at most {high}", low=low, high=high)
            yield Fault(
                code="contradiction",
                detail="The lower limit is above the upper limit.",
                expected=expected,
                path=(place, name),
            )


def _unknown_stream(line: Line) -> Iterator[Fault]:
    """How many shingled sheets lie on one another follows from their length and their pitch alone."""
    for name in ("shingle_pitch_mm", "sheet_length_mm"):
        if line.shingled and getattr(line, name) is None:
            detail = "Enter this for shingled feeding: it decides how many sheets overlap."
            expected: str = asked_field(Line, name).expected  # type: ignore[attr-defined]
            yield Fault(code="missing-field", detail=detail, expected=expected, path=("line", name))


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


_NO_SUCH = {
    "principle": "This sensing principle does not exist.",
    "class": "This detector class is not in the catalogue.",
    "catalogue": "This catalogue does not exist.",
    "housing": "No detector class of the catalogue has this housing.",
    "output": "No detector class of the catalogue has this output.",
    "supply": "No detector class of the catalogue has this supply.",
}


def _fault(kind: str, name: str, known: Iterable[str], path: Path) -> Fault:
    return Fault(
        code=f"unknown-{kind}",
        detail=_NO_SUCH[kind],
        expected=Filled("one of {names}", names=", ".join(known)),
        suggestions=nearest(name, known),
        path=path,
    )


def falling_band(profile: InstalledProfile, *, of: Path) -> Iterator[Fault]:
    """That the lower threshold of an installed band is not below the upper one; `of` is where its set-up stands."""
    band = profile.band
    if band is not None and band.low >= band.high:
        yield Fault(
            code="contradiction",
            detail="The lower threshold of the band is not below the upper one.",
            expected=Filled("less than {high:g}", high=band.high),
            path=(*of, "profile", "band", "low"),
        )
