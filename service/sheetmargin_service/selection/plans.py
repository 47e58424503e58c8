"""Plans for a job: each class by itself for one sheet; for a list also the fewest that serve it together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import chain

import numpy as np

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.mounting.stream import survey_in_beam
from sheetmargin_service.principles import benches
from sheetmargin_service.principles.protocol import Bench, Detail, Fact, Receiver, Survey
from sheetmargin_service.selection.bands import Bands, choose_bands
from sheetmargin_service.selection.configured_pair import (
    Post,
    Question,
    Station,
    build_station,
    details_at,
    fitting,
    hopeless,
    in_words_of,
    on_sheet,
    place_of,
    slack_of,
    unfit,
    why_not,
    without,
)
from sheetmargin_service.selection.failure_modes import cause
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.changeovers import cheapest_run
from sheetmargin_service.selection.list_cover.class_sets import together
from sheetmargin_service.selection.list_cover.cover import covers
from sheetmargin_service.selection.list_cover.options import List, list_of
from sheetmargin_service.selection.ranking import Plan, ranked
from sheetmargin_service.selection.search import Search, Sharing, receiver_at
from sheetmargin_service.selection.targets import ORDER, chance_band
from sheetmargin_service.selection.time_limit import check_time

MOST_TRIED = 3
NARROWLY, NEARER = 0.5, 0.05
"""So many settings of a class are looked at in full for a sheet, as long as misreads are at most this power of ten
above a target and come nearer to it by that one (choices: further off, another setting was hardly ever seen to meet
it, and each costs as much)."""
MOST_AGAIN = 3
"""So often a list is solved again (a choice: it is within a request's time)."""
MOST_LOOKED_AT = 1000
"""Sheets that all classes together are looked at for in full (a choice, likewise): all that there are, but for a long
list before a large catalogue."""
Assignment = Sequence[int | None]
"""The row of the candidates for each sheet."""
Group = tuple[int, Sequence[int]]
"""A setting with some sheets by their index."""
Known = dict[tuple[int, int], Detail]
"""Details of one class by setting and sheet."""


def posts_of(question: Question, detector_classes: Sequence[DetectorClass]) -> list[Post | Fact]:
    """Each class under the question's conditions with its survey of every sheet, or why it cannot stand there."""
    made = benches(detector_classes, question.conditions)
    return [
        bench if isinstance(bench, Fact) else _post(question, detector_class, bench)
        for detector_class, bench in zip(detector_classes, made, strict=True)
    ]


def _post(question: Question, detector_class: DetectorClass, bench: Bench) -> Post | Fact:
    place = place_of(question, detector_class)
    crowded = place.beside_one_another()
    if crowded is not None:
        return crowded
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
    post = Post(question=question, bench=bench, allowed=allowed, surveys=surveys, refused=refused)
    whole = allowed & on_sheet(post)
    return replace(post, allowed=whole) if whole.any() else post


def plans_for_sheet(posts: Sequence[Post]) -> list[Plan | Fact]:
    """For a job of one sheet, each class by itself, or why it cannot serve it.

    Settings are found to first order. Where one then narrowly misses a target in full, others are tried as long as that
    helps, up to `MOST_TRIED` in all. Where none that can be set by hand serves the sheet, the one with the greatest
    margin may still: its band is then proved in a trial.
    """
    found = [_setting(place) for place in posts]
    searches = {row: one for row, one in enumerate(found) if isinstance(one, Search)}
    tries = {row: chain([one.best], one.others()) for row, one in searches.items()}
    best: dict[int, Station] = {}
    for _ in range(MOST_TRIED):
        settings = {row: at for row, left in tries.items() if (at := next(left, None)) is not None}
        for row, station in _stations_at(posts, settings):
            before, search = best.get(row), searches[row]
            if before is None or _better(station, before):
                best[row] = station
            if not _worth_more(station, before, search):
                del tries[row]
            elif _excess(station) <= 0.0:
                again = search.with_band(settings[row], (station.low, station.high))
                tries[row] = chain([again.best] * (again.best != settings[row]))
    by_margin = {row: s.by_margin for row, s in searches.items() if s.by_margin != s.best and unfit(best[row])}
    best |= {row: station for row, station in _stations_at(posts, by_margin) if _better(station, best[row])}
    return [one if isinstance(one, Fact) else _plan_of(best[row]) for row, one in enumerate(found)]


def _stations_at(posts: Sequence[Post], settings: Mapping[int, int]) -> list[tuple[int, Station]]:
    """Some of the classes, each at a setting for the only sheet."""
    details = details_at([(posts[row], at, [0]) for row, at in settings.items()])
    return [(row, build_station(posts[row], settings[row], one)) for row, one in zip(settings, details, strict=True)]


def _setting(place: Post) -> Search | Fact:
    """The settings for the only sheet, or why there is no need to look further."""
    for fact in place.refused.values():
        return fact
    search = _best_alone(place, 0)
    if hopeless(place.surveys[0], search.groups[0].bands, setting=search.best):
        return in_words_of(place.question, cause(*_at(place, 0, search.best)))
    return search


def _at(place: Post, index: int, setting: int) -> tuple[Survey, Receiver, Bands]:
    """One sheet and the receiver at a setting, and the band that suits the sheet there by itself."""
    survey, receiver = place.surveys[index].at(setting), receiver_at(place.bench.receiver, setting)
    return survey, receiver, choose_bands([survey], receiver, step=place.principle.band_step)


def _best_alone(place: Post, index: int) -> Search:
    """The settings for one of the sheets by itself."""
    return _settled(place, [[index]])


def _better(one: Station, other: Station) -> bool:
    """Whether a set-up for a sheet is to be preferred to one that misses a target: by its verdict, then by its chance
    in bands, then by a margin that is greater by more than a step."""
    judgements = [station.served[0].judgement for station in (one, other)]
    verdicts = [(ORDER[judgement.verdict], chance_band(judgement.chance)) for judgement in judgements]
    return verdicts[0] < verdicts[1] or (
        verdicts[0] == verdicts[1] and one.worst > other.worst + one.post.principle.band_step
    )


def _excess(station: Station) -> float:
    return station.served[0].judgement.high_excess


def _worth_more(station: Station, before: Station | None, search: Search) -> bool:
    """Whether to try another setting after one and the best before it: where the targets are narrowly missed and came
    nearer, or by how edges were rounded, or where they are met but the setting cannot be set by hand and others can."""
    excess = _excess(station)
    if station.timing.fits is False:
        return False
    if excess <= 0.0:
        return station.narrow is not None and search.can_be_set
    if excess > NARROWLY or search.by_rounding:
        return search.by_rounding
    return before is None or excess < _excess(before) - NEARER


def _plan_of(station: Station) -> Plan | Fact:
    return why_not(station, 0) if unfit(station) else Plan(stations=(station,), left_out={})


def plans_for_list(posts: Sequence[Post]) -> tuple[list[Plan], dict[str, Fact]]:
    """For a list, each class by itself, then several together where those serve more sheets or better; and why some
    classes have no plan.

    What a class can do by itself is the same whatever others there are. Of each plan those sheets are left out that its
    classes do not serve; where no class serves one, for the reason of the class that comes nearest.
    """
    looked_at, others = _looked_at(posts)
    alone = [(place, _alone_for_list(place)) for place in looked_at]
    served = {i for _, plan in alone for station in plan.stations for i in station.served}
    missing: dict[int, Fact] = {}
    for i in range(len(posts[0].question.sheets)):
        if i not in served:
            nearness = [_alone(place, i)[0] for place, _ in alone]
            missing[i] = alone[int(np.argmax(nearness))][1].left_out[i]
    useful = [plan for _, plan in alone if plan.stations]
    plans = [replace(plan, left_out=plan.left_out | missing) for plan in (*useful, *together(useful))]
    failed = {place.detector_class.id: _useless(place, plan) for place, plan in alone if not plan.stations}
    return plans, failed | others


def _looked_at(posts: Sequence[Post]) -> tuple[list[Post], dict[str, Fact]]:
    """The classes that are looked at in full, and why not the others: those that come nearest to serving one of the
    sheets first, then the next, as far as the sheets that they may serve are not too many together."""
    count = len(posts[0].question.sheets)
    if len(posts) * count <= MOST_LOOKED_AT:
        return list(posts), {}
    nearness = np.array([[_alone(place, i)[0] for i in range(count)] for place in posts])
    order = list(dict.fromkeys(np.argsort(-nearness, axis=0, kind="stable").ravel().tolist()))
    serves = (nearness > 0.0).sum(axis=1)
    near = np.cumsum(serves[order]) <= max(MOST_LOOKED_AT, serves[order[0]])
    chosen = {number for number, is_near in zip(order, near.tolist(), strict=True) if is_near}
    others = {
        place.detector_class.id: Fact(code="not-needed", values={"sheets": int(serves[number]), "of": count})
        for number, place in enumerate(posts)
        if number not in chosen
    }
    return [place for number, place in enumerate(posts) if number in chosen], others


def _useless(place: Post, plan: Plan) -> Fact:
    """Why a class serves no sheet of a list: what stops it at the one that it comes nearest to serving."""
    index = max(plan.left_out, key=lambda i: (_alone(place, i)[0], -i))
    fact = plan.left_out[index]
    return Fact(code=fact.code, values={"sheet": index, **fact.values})


def _alone_for_list(place: Post) -> Plan:
    """One class for as many sheets of a list as it can serve: with the fewest positions and profiles, or, of a list in
    a given order, with the fewest changes. It has no stations where it serves none.

    Ways are found to first order. Where one then misses a target in full, the list is solved again with what is known
    of the sheet by then, up to `MOST_AGAIN` times; the best of these counts.
    """
    listed = list_of(place)
    known: Known = {}
    missed: dict[int, Fact] = {}
    found: list[Plan] = []
    for again in range(MOST_AGAIN, -1, -1):
        assignment = _assignment(listed.candidates, ordered=place.question.job.keep_sequence)
        plan = _plan(place, listed, assignment, known, missed)
        found.append(plan)
        dropped = [i for i, row in enumerate(assignment) if row is not None and i in plan.left_out]
        if not dropped or not again:
            break
        missed |= {i: plan.left_out[i] for i in dropped}
        listed = _judged(place, listed, dropped, known)
    useful = ranked([plan for plan in found if plan.stations])
    return useful[0] if useful else found[-1]


def _assignment(candidates: Candidates, *, ordered: bool) -> Assignment:
    """The best way to serve a list."""
    found = None
    if len(candidates.margin):
        found = cheapest_run(candidates) if ordered else next(covers(candidates, limit=1), None)
    return [None] * candidates.margin.shape[1] if found is None else found.assignment


def _judged(place: Post, listed: List, sheets: Sequence[int], known: Known) -> List:
    """The ways that are left when some sheets are looked at in full: those in the position that is best for a sheet by
    itself, where that serves it."""
    margin = listed.candidates.margin.copy()
    setting_of = np.array([way.setting for way in listed.ways])
    asked: list[Group] = [(_best_alone(place, i).best, [i]) for i in sheets]
    for (setting, (i,)), details in zip(asked, _details(place, asked, known), strict=True):
        fits = not unfit(build_station(place, setting, details))
        margin[~(fits & (setting_of == setting)), i] = -np.inf
    return replace(listed, candidates=replace(listed.candidates, margin=margin))


def _details(place: Post, asked: Sequence[Group], known: Known) -> list[dict[int, Detail]]:
    """Details of groups, those that are known already not computed again."""
    new = [(place, setting, [i for i in group if (setting, i) not in known]) for setting, group in asked]
    for (_, setting, _), details in zip(new, details_at(new), strict=True):
        known.update({(setting, i): detail for i, detail in details.items()})
    return [{i: known[setting, i] for i in group} for setting, group in asked]


def _plan(place: Post, listed: List, assignment: Assignment, known: Known, missed: Mapping[int, Fact]) -> Plan:
    """The stations of an assignment of rows to sheets, those of one position next to each other."""
    left_out = {i: missed[i] if i in missed else _alone(place, i)[1] for i, row in enumerate(assignment) if row is None}
    rows = sorted({row for row in assignment if row is not None})
    positions = list(dict.fromkeys(listed.ways[row].setting for row in rows))
    asked: list[Group] = []
    for setting in positions:
        groups = [
            [i for i, r in enumerate(assignment) if r == row] for row in rows if listed.ways[row].setting == setting
        ]
        judged = any(i in missed for group in groups for i in group)
        at = _settled(place, groups).best if len(positions) == 1 and not judged else setting
        asked += [(at, group) for group in groups]
    stations: list[Station] = []
    for (setting, _), details in zip(asked, _details(place, asked, known), strict=True):
        found, failed = _stations(place, setting, details)
        stations += found
        left_out |= failed
    return Plan(stations=tuple(_merged(stations)), left_out=left_out)


def _stations(
    place: Post, setting: int, details: Mapping[int, Detail], *, wanted: int | None = None
) -> tuple[list[Station], dict[int, Fact]]:
    """A pair at a setting for some sheets, in one band or as many as their verdicts ask for, and why the rest cannot be
    served.

    The fewest bands are found by margins above 0. That must not cost the verdict: two plates of nearly one thickness
    would share a band that surely tells neither, where each has one of its own. `wanted` is the verdict that all can
    have each in a band of its own, that of the worst sheet. Sheets that miss it leave the shared band; where all of
    them do, they are parted where their levels are furthest apart, so that what reads alike stays together.
    """
    shared = build_station(place, setting, details)
    bad = unfit(shared)
    wanting = [i for i, served in shared.served.items() if i in bad or served.judgement.verdict != "suitable"]
    if len(details) == 1 or not wanting:
        failed = {i: _told(shared, i) for i in bad}
        return [] if failed else [shared], failed
    alone = {i: build_station(place, setting, {i: details[i]}) for i in wanting}
    failed = {i: _told(own, i) for i, own in alone.items() if unfit(own)}
    if wanted is None:
        wanted = max((_verdict(own, i) for i, own in alone.items() if i not in failed), default=ORDER["suitable"])
    better = [i for i in alone if i not in failed and _verdict(shared, i) > wanted]
    leaving = {*failed, *better}
    if len(leaving) < len(details):
        found, groups = [without(shared, list(leaving))], [better]
    else:
        level = {i: float(shared.served[i].survey.single.p50[0]) for i in better}
        better.sort(key=lambda i: (level[i], i))
        cut = max(range(1, len(better)), key=lambda at: level[better[at]] - level[better[at - 1]], default=0)
        found, groups = [], [better[:cut], better[cut:]]
    for group in filter(None, groups):
        stations, unserved = _stations(place, setting, {i: details[i] for i in group}, wanted=wanted)
        found += stations
        failed |= unserved
    return found, failed


def _verdict(station: Station, index: int) -> int:
    return ORDER[station.served[index].judgement.verdict]


def _told(station: Station, index: int) -> Fact:
    """Why a class does not serve a sheet, with its name."""
    fact = why_not(station, index)
    return replace(fact, values={"detector_class": station.post.detector_class.id, **fact.values})


def _merged(stations: Sequence[Station]) -> list[Station]:
    """Stations of one class, those of one setting and one band as the one set-up that they are."""
    alike: dict[tuple[int, int, int], list[Station]] = {}
    for station in stations:
        alike.setdefault((station.choice.setting, station.low, station.high), []).append(station)
    merged = []
    for (setting, *band), group in alike.items():
        details = {i: served.detail for station in group for i, served in station.served.items()}
        one = group[0] if len(group) == 1 else build_station(group[0].post, setting, details, band=(band[0], band[1]))
        merged.append(one)
    return merged


def _settled(place: Post, groups: Sequence[Sequence[int]]) -> Search:
    """The settings for groups of sheets that share one, a band for each."""
    step, receiver = place.principle.band_step, place.bench.receiver
    sharing = tuple(
        Sharing(surveys={i: place.surveys[i] for i in group}, receiver=receiver, step=step) for group in groups
    )
    return Search(bench=place.bench, groups=sharing, allowed=place.allowed, step=step, slack=slack_of(place))


def _alone(place: Post, index: int) -> tuple[float, Fact]:
    """The margin of a class and a sheet by themselves, as a multiple of one sheet's own spread so that those of several
    principles compare, and what limits it."""
    if index not in place.surveys:
        return -np.inf, place.refused[index]
    survey, receiver, bands = _at(place, index, _best_alone(place, index).best)
    spread = float(survey.single.p99[0] - survey.single.p1[0])
    why = in_words_of(place.question, cause(survey, receiver, bands))
    fact = Fact(code=why.code, values={"detector_class": place.detector_class.id, **why.values})
    return float(bands.worst[0]) / max(spread, 1e-9), fact
