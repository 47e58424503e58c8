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
from sheetmargin_service.selection.listing import List, list_of
from sheetmargin_service.selection.plies import counting
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.search import Choice, best_setting, best_shared_setting, choice_at, receiver_at
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
    asked: list[tuple[Post, Choice, Sequence[int]]] = []
    rows = sorted({row for row in assignment if row is not None})
    places = list(dict.fromkeys((listed.ways[row].post.detector_class.id, listed.ways[row].setting) for row in rows))
    for class_id, setting in places:
        ways = {r: listed.ways[r] for r in rows if listed.ways[r].post.detector_class.id == class_id}
        groups = [[i for i, r in enumerate(assignment) if r == row] for row in ways if ways[row].setting == setting]
        place = next(iter(ways.values())).post
        alone = all(way.setting == setting for way in ways.values())
        asked += [(place, choice, group) for choice, group in _settled(place, setting, groups, free=alone)]
    stations: list[Station] = []
    for (place, choice, indices), details in zip(asked, details_at(asked), strict=True):
        station = build_station(place, choice, details)
        bad = unfit(station)
        left_out |= {i: why_not(station, i) for i in bad}
        if len(bad) < len(indices):
            stations.append(without(station, bad))
    return Plan(stations=tuple(stations), left_out=left_out)


def _settled(
    place: Post, setting: int, groups: Sequence[Sequence[int]], *, free: bool
) -> list[tuple[Choice, Sequence[int]]]:
    """The setting for groups of sheets that share it, a band for each: where no other setting of the class depends on
    it, the one that suits these groups best."""
    step, receiver = place.principle.band_step, place.bench.receiver
    surveys = [{i: place.surveys[i] for i in group} for group in groups]
    if free:
        setting = best_shared_setting(place.bench, surveys, allowed=place.allowed, step=step)
    found = []
    for group, own in zip(groups, surveys, strict=True):
        here = choose_bands([s.at(setting) for s in own.values()], receiver_at(receiver, setting), step=step)
        band = float(here.low[0]), float(here.high[0])
        found.append((choice_at(place.bench, own, setting, allowed=place.allowed, band=band), group))
    return found


def nearest_miss(posts: Sequence[Post], index: int) -> Fact:
    """Why no class serves a sheet even by itself, told of the class that comes nearest; where none senses it at all, of
    the first."""
    _, fact = max((_alone(place, index) for place in posts), key=lambda found: found[0])
    return fact


def unused(place: Post) -> Fact:
    """Why a class takes no part in a list: others serve it with less, or what stops it at the sheet it comes nearest to
    serving."""
    found = [_alone(place, index) for index in range(len(place.question.sheets))]
    serves = sum(reserve > 0.0 for reserve, _ in found)
    if serves:
        return Fact(code="not-needed", values={"sheets": serves, "of": len(found)})
    index = max(range(len(found)), key=lambda i: (found[i][0], -i))
    fact = found[index][1]
    return Fact(code=fact.code, values={"sheet": index, **fact.values})


def _alone(place: Post, index: int) -> tuple[float, Fact]:
    """The margin of a class and a sheet by themselves, as a multiple of one sheet's own spread so that those of several
    principles compare, and what limits it."""
    if index not in place.surveys:
        return -np.inf, place.refused[index]
    alone, step = {index: place.surveys[index]}, place.principle.band_step
    choice = best_setting(place.bench, alone, allowed=place.allowed, step=step)
    receiver, survey = receiver_at(place.bench.receiver, choice.setting), alone[index].at(choice.setting)
    bands = choose_bands([survey], receiver, step=step)
    reserve = float(bands.worst[0]) / max(float(survey.single.p99[0] - survey.single.p1[0]), 1e-9)
    why = cause(survey, receiver, bands)
    return reserve, Fact(code=why.code, values={"detector_class": place.detector_class.id, **why.values})
