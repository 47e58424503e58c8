"""Plans for a job: each class by itself for one sheet, the fewest classes for a list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.prediction.principles import benches
from sheetmargin_service.prediction.principles.base import Bench, Detail, Fact
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.causes import cause
from sheetmargin_service.selection.changeover import cheapest_run
from sheetmargin_service.selection.cover import covers
from sheetmargin_service.selection.listing import List, Way, list_of
from sheetmargin_service.selection.plies import counting
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.search import Choice, best_setting, choice_at, receiver_at
from sheetmargin_service.selection.stations import (
    Post,
    Question,
    Station,
    build_station,
    details_at,
    fitting,
    hopeless_at,
    place_of,
    unfit,
    why_not,
    without,
)
from sheetmargin_service.selection.time_limit import check_time


def posts_of(question: Question, detector_classes: Sequence[DetectorClass]) -> list[Post | Fact]:
    """Each class under the question's conditions with its survey of every sheet, or why it cannot stand there."""
    made = benches(detector_classes, question.conditions)
    return [
        bench if isinstance(bench, Fact) else _post(question, detector_class, bench)
        for detector_class, bench in zip(detector_classes, made, strict=True)
    ]


def _post(question: Question, detector_class: DetectorClass, bench: Bench) -> Post | Fact:
    allowed = fitting(place_of(question, detector_class), bench.settings)
    if not allowed.any():
        line = question.job.line
        return Fact(
            code="does-not-fit",
            values={
                "gap_min_mm": round(float(bench.settings.gap_mm.min()), 1),
                "clearance_above_mm": line.clearance_above_mm,
                "clearance_below_mm": line.clearance_below_mm,
            },
        )
    refused, surveys = {}, {}
    for index, sheet in enumerate(question.sheets):
        check_time()
        refusal = bench.refuses(sheet)
        if refusal is None:
            surveys[index] = bench.survey(sheet)
        else:
            refused[index] = refusal
    return Post(question=question, bench=bench, allowed=allowed, surveys=surveys, refused=refused)


def plans_for_sheet(posts: Sequence[Post]) -> list[Plan | Fact]:
    """For a job of one sheet, each class by itself, or why it cannot serve it."""
    choices = [_choice(place) for place in posts]
    asked = [(p, c, [0]) for p, c in zip(posts, choices, strict=True) if isinstance(c, Choice)]
    known = iter(details_at(asked))
    return [
        _with_plies(place, choice) if isinstance(choice, Fact) else _plan_of(place, choice, next(known))
        for place, choice in zip(posts, choices, strict=True)
    ]


def _choice(place: Post) -> Choice | Fact:
    """The best setting for the only sheet, or why there is no need to look further."""
    for fact in place.refused.values():
        return fact
    choice = best_setting(place.bench, place.surveys, allowed=place.allowed, step=place.principle.band_step)
    for fact in hopeless_at(place, place.surveys, choice).values():
        return fact
    return choice


def _plan_of(place: Post, choice: Choice, details: Mapping[int, Detail]) -> Plan | Fact:
    station = build_station(place, choice, details)
    return _with_plies(place, why_not(station, 0)) if unfit(station) else Plan(stations=(station,), left_out={})


def _with_plies(place: Post, fact: Fact) -> Fact:
    """Of a sheet of several plies that the class senses, what is asked next: how many would work."""
    if place.refused or place.question.sheets[0].plies == 1:
        return fact
    return counting(place, 0)


def plans_for_list(posts: Sequence[Post], *, limit: int) -> list[Plan]:
    """The fewest classes, positions and profiles that serve the most sheets, and the next best by other classes; for a
    list in a given order, the way through it with the fewest changes."""
    listed = list_of(posts)
    if not listed.ways:
        return []
    if posts[0].question.job.ordered:
        run = cheapest_run(listed.candidates)
        assignments = [] if run is None else [run.assignment]
    else:
        assignments = [cover.assignment for cover in covers(listed.candidates, limit=limit)]
    plans = [_plan(listed, assignment, posts) for assignment in assignments]
    return [plan for plan in plans if plan.stations]


def _plan(listed: List, assignment: Sequence[int | None], posts: Sequence[Post]) -> Plan:
    """The stations of an assignment of rows to sheets, those of one class and one position next to each other."""
    left_out = {i: nearest_miss(posts, i) for i, row in enumerate(assignment) if row is None}
    asked: list[tuple[Post, Choice, list[int]]] = []
    ways: list[Way] = []
    for row in sorted({row for row in assignment if row is not None}):
        way = listed.ways[row]
        indices = [i for i, r in enumerate(assignment) if r == row]
        surveys = {i: way.post.surveys[i] for i in indices}
        choice = choice_at(way.post.bench, surveys, way.setting, allowed=way.post.allowed, band=way.band)
        asked.append((way.post, choice, indices))
        ways.append(way)
    stations: list[Station] = []
    for way, (place, choice, indices), details in zip(ways, asked, details_at(asked), strict=True):
        station = build_station(place, choice, details, band=(int(way.band[0]), int(way.band[1])))
        bad = unfit(station)
        left_out |= {i: why_not(station, i) for i in bad}
        if len(bad) < len(indices):
            stations.append(without(station, bad))
    return Plan(stations=tuple(stations), left_out=left_out)


def nearest_miss(posts: Sequence[Post], index: int) -> Fact:
    """Why no class serves a sheet even by itself, told of the class that comes nearest; where none senses it at all, of
    the first."""
    best, fact = -np.inf, None
    for place in posts:
        if index not in place.surveys:
            fact = fact or place.refused[index]
            continue
        alone = {index: place.surveys[index]}
        step = place.principle.band_step
        choice = best_setting(place.bench, alone, allowed=place.allowed, step=step)
        receiver, survey = receiver_at(place.bench.receiver, choice.setting), alone[index].at(choice.setting)
        bands = choose_bands([survey], receiver, step=step)
        # Margins of several principles compare as multiples of one sheet's own spread.
        reserve = float(bands.worst[0]) / max(float(survey.single.p99[0] - survey.single.p1[0]), 1e-9)
        if reserve > best:
            best = reserve
            why = cause(survey, receiver, bands)
            fact = Fact(code=why.code, values={"detector_class": place.detector_class.id, **why.values})
    assert fact is not None
    return fact
