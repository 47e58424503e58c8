"""Plans for a job: each class by itself for one sheet, the fewest classes for a list."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.prediction.principles import benches
from sheetmargin_service.prediction.principles.base import Bench, Detail, Fact
from sheetmargin_service.selection.bands import Bands, choose_bands
from sheetmargin_service.selection.candidates import Candidates
from sheetmargin_service.selection.causes import cause
from sheetmargin_service.selection.changeover import cheapest_run
from sheetmargin_service.selection.cover import covers
from sheetmargin_service.selection.listing import List, list_of
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.search import best_setting
from sheetmargin_service.selection.stations import (
    Post,
    Question,
    Station,
    build_station,
    details_at,
    fitting,
    hopeless,
    in_words_of,
    place_of,
    unfit,
    why_not,
    without,
)
from sheetmargin_service.selection.stream import survey_in_beam
from sheetmargin_service.selection.targets import ORDER
from sheetmargin_service.selection.time_limit import check_time

MOST_AGAIN = 3
"""So often a list is solved again (a choice: it is within a request's time)."""
MOST_WAYS = 20
"""So many ways to serve a list are looked at in full before they are ranked, however few are asked for (a choice)."""
MOST_PLACED = 100
"""Sheets of all plans of a list together: a long one has fewer alternatives (a choice, likewise)."""
Assignment = Sequence[int | None]
"""The row of the candidates for each sheet."""
Group = tuple[Post, int, Sequence[int]]
"""A post at a setting with some sheets by their index."""
Known = dict[tuple[str, int, int], Detail]
"""Details by class, setting and sheet."""


def posts_of(question: Question, detector_classes: Sequence[DetectorClass]) -> list[Post | Fact]:
    """Each class under the question's conditions with its survey of every sheet, or why it cannot stand there."""
    made = benches(detector_classes, question.conditions)
    return [
        bench if isinstance(bench, Fact) else _post(question, detector_class, bench)
        for detector_class, bench in zip(detector_classes, made, strict=True)
    ]


def _post(question: Question, detector_class: DetectorClass, bench: Bench) -> Post | Fact:
    place = place_of(question, detector_class)
    allowed = fitting(place, bench.settings)
    if not allowed.any():
        return place.misfit(bench.settings)
    refused, surveys = {}, {}
    for index in range(len(question.sheets)):
        check_time()
        in_beam = question.in_beam(index)
        refusal = next((fact for sheet in in_beam if (fact := bench.refuses(sheet)) is not None), None)
        if refusal is None:
            surveys[index] = survey_in_beam(bench, in_beam)
        else:
            refused[index] = refusal
    return Post(question=question, bench=bench, allowed=allowed, surveys=surveys, refused=refused)


def plans_for_sheet(posts: Sequence[Post]) -> list[Plan | Fact]:
    """For a job of one sheet, each class by itself, or why it cannot serve it."""
    settings = [_setting(place) for place in posts]
    asked = [(place, at, [0]) for place, at in zip(posts, settings, strict=True) if isinstance(at, int)]
    known = iter(details_at(asked))
    return [
        _plan_of(place, at, next(known)) if isinstance(at, int) else at
        for place, at in zip(posts, settings, strict=True)
    ]


def _setting(place: Post) -> int | Fact:
    """The best setting for the only sheet, or why there is no need to look further."""
    for fact in place.refused.values():
        return fact
    setting, bands = _best_alone(place, 0)
    if hopeless(place.surveys[0], bands, setting=setting):
        return in_words_of(place.question, cause(place.surveys[0], place.bench.receiver, bands, setting=setting))
    return setting


def _best_alone(place: Post, index: int) -> tuple[int, Bands]:
    """The best setting for one of the sheets by itself, and the bands that suit it at every setting."""
    step = place.principle.band_step
    bands = choose_bands([place.surveys[index]], place.bench.receiver, step=step)
    return best_setting(place.bench, [bands], allowed=place.allowed, step=step), bands


def _plan_of(place: Post, setting: int, details: Mapping[int, Detail]) -> Plan | Fact:
    station = build_station(place, setting, details)
    return why_not(station, 0) if unfit(station) else Plan(stations=(station,), left_out={})


def plans_for_list(posts: Sequence[Post]) -> list[Plan]:
    """The fewest classes, positions and profiles that serve the most sheets, and the next best by other classes; for a
    list in a given order, the way through it with the fewest changes.

    Ways are found to first order. Where one then misses a target in full, the list is solved again with what is known
    of the sheet by then, up to `MOST_AGAIN` times.
    """
    limit = max(1, min(MOST_WAYS, MOST_PLACED // len(posts[0].question.sheets)))
    listed = list_of(posts)
    known: Known = {}
    missed: dict[int, Fact] = {}
    for again in range(MOST_AGAIN, -1, -1):
        assignments = _assignments(listed.candidates, ordered=posts[0].question.job.ordered, limit=limit)
        first = next(assignments, None)
        if first is None:
            return []
        best = _plan(listed, first, posts, known, missed)
        dropped = [i for i, row in enumerate(first) if row is not None and i in best.left_out]
        if not dropped or not again:
            break
        missed |= {i: best.left_out[i] for i in dropped}
        listed = _judged(listed, posts, dropped, known)
    plans = [best, *(_plan(listed, assignment, posts, known, missed) for assignment in assignments)]
    return [plan for plan in plans if plan.stations]


def _assignments(candidates: Candidates, *, ordered: bool, limit: int) -> Iterator[Assignment]:
    """The best ways to serve a list, in turn."""
    if not len(candidates.margin):
        return
    if not ordered:
        for cover in covers(candidates, limit=limit):
            yield cover.assignment
        return
    run = cheapest_run(candidates)
    if run is not None:
        yield run.assignment


def _judged(listed: List, posts: Sequence[Post], sheets: Sequence[int], known: Known) -> List:
    """The ways that are left when some sheets are looked at in full: with the classes that serve one by itself, each in
    the position that is best for that."""
    margin = listed.candidates.margin.copy()
    of_class, setting_of = np.array(listed.candidates.classes), np.array([way.setting for way in listed.ways])
    for i in sheets:
        able = set(of_class[np.isfinite(margin[:, i])])
        asked: list[Group] = [(p, _best_alone(p, i)[0], [i]) for p in posts if p.detector_class.id in able]
        keep = np.zeros(len(margin), dtype=np.bool_)
        for (place, setting, _), details in zip(asked, _details(asked, known), strict=True):
            if not unfit(build_station(place, setting, details)):
                keep |= (of_class == place.detector_class.id) & (setting_of == setting)
        margin[~keep, i] = -np.inf
    return replace(listed, candidates=replace(listed.candidates, margin=margin))


def _details(asked: Sequence[Group], known: Known) -> list[dict[int, Detail]]:
    """Details of groups, those that are known already not computed again."""
    new = [
        (place, setting, [i for i in group if (place.detector_class.id, setting, i) not in known])
        for place, setting, group in asked
    ]
    for (place, setting, _), details in zip(new, details_at(new), strict=True):
        known.update({(place.detector_class.id, setting, i): detail for i, detail in details.items()})
    return [{i: known[place.detector_class.id, setting, i] for i in group} for place, setting, group in asked]


def _plan(
    listed: List, assignment: Assignment, posts: Sequence[Post], known: Known, missed: Mapping[int, Fact]
) -> Plan:
    """The stations of an assignment of rows to sheets, those of one class and one position next to each other."""
    left_out = {
        i: missed[i] if i in missed else nearest_miss(posts, i) for i, row in enumerate(assignment) if row is None
    }
    asked: list[Group] = []
    rows = sorted({row for row in assignment if row is not None})
    places = list(dict.fromkeys((listed.ways[row].post.detector_class.id, listed.ways[row].setting) for row in rows))
    for class_id, setting in places:
        ways = {r: listed.ways[r] for r in rows if listed.ways[r].post.detector_class.id == class_id}
        groups = [[i for i, r in enumerate(assignment) if r == row] for row in ways if ways[row].setting == setting]
        place = next(iter(ways.values())).post
        alone = all(way.setting == setting for way in ways.values())
        judged = any(i in missed for group in groups for i in group)
        setting = _settled(place, groups) if alone and not judged else setting
        asked += [(place, setting, group) for group in groups]
    stations: list[Station] = []
    for (place, setting, _), details in zip(asked, _details(asked, known), strict=True):
        found, failed = _stations(place, setting, details)
        stations += found
        left_out |= failed
    return Plan(stations=tuple(stations), left_out=left_out)


def _stations(
    place: Post, setting: int, details: Mapping[int, Detail], *, wanted: int | None = None
) -> tuple[list[Station], dict[int, Fact]]:
    """A pair at a setting for some sheets, in one band or as many as their verdicts ask for, and why the rest cannot be
    served.

    The fewest bands are found by margins above 0. That must not cost the verdict: two plates of nearly one thickness
    would share a band that surely tells neither, where each has one of its own. `wanted` is the verdict that all can
    have each in a band of its own, that of the worst sheet. Sheets that miss it leave the shared band; where all of
    them do, those that read least go apart from the others.
    """
    shared = build_station(place, setting, details)
    wanting = [i for i, served in shared.served.items() if served.judgement.verdict != "suitable"]
    if len(details) == 1 or not (wanting or unfit(shared)):
        failed = {i: why_not(shared, i) for i in unfit(shared)}
        return [] if failed else [shared], failed
    alone = {i: build_station(place, setting, {i: details[i]}) for i in wanting or details}
    failed = {i: why_not(shared, i) for i, own in alone.items() if unfit(own)}
    if wanted is None:
        wanted = max((_verdict(own, i) for i, own in alone.items() if i not in failed), default=ORDER["suitable"])
    better = [i for i in alone if i not in failed and _verdict(shared, i) > wanted]
    leaving = {*failed, *better}
    if len(leaving) < len(details):
        found, groups = [without(shared, list(leaving))], [better]
    else:
        better.sort(key=lambda i: float(shared.served[i].survey.single.p50[0]))
        middle = len(better) // 2
        found, groups = [], [better[:middle], better[middle:]]
    for group in filter(None, groups):
        stations, unserved = _stations(place, setting, {i: details[i] for i in group}, wanted=wanted)
        found += stations
        failed |= unserved
    return found, failed


def _verdict(station: Station, index: int) -> int:
    return ORDER[station.served[index].judgement.verdict]


def _settled(place: Post, groups: Sequence[Sequence[int]]) -> int:
    """The setting that suits groups of sheets best that share it, a band for each."""
    step, receiver = place.principle.band_step, place.bench.receiver
    bands = [choose_bands([place.surveys[i] for i in group], receiver, step=step) for group in groups]
    return best_setting(place.bench, bands, allowed=place.allowed, step=step)


def nearest_miss(posts: Sequence[Post], index: int) -> Fact:
    """Why no class serves a sheet even by itself, told of the class that comes nearest; where none senses it at all, of
    the first."""
    _, fact = max((_alone(place, index) for place in posts), key=lambda found: found[0])
    return fact


def unused(place: Post) -> Fact:
    """Why a class takes no part in a list: others serve it with less or more surely, by its margins to first order; or
    what stops it at the sheet it comes nearest to serving."""
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
    setting, bands = _best_alone(place, index)
    survey = place.surveys[index]
    spread = float(survey.single.p99[setting] - survey.single.p1[setting])
    why = in_words_of(place.question, cause(survey, place.bench.receiver, bands, setting=setting))
    fact = Fact(code=why.code, values={"detector_class": place.detector_class.id, **why.values})
    return float(bands.worst[setting]) / max(spread, 1e-9), fact
