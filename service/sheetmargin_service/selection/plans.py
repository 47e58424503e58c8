"""Plans for a job: each class by itself for one sheet, the fewest classes for a list."""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.prediction.principles import principles
from sheetmargin_service.prediction.principles.base import Fact
from sheetmargin_service.selection.cover import Cover, covers
from sheetmargin_service.selection.listing import List, list_of
from sheetmargin_service.selection.ranking import Plan
from sheetmargin_service.selection.search import best_setting, choice_at
from sheetmargin_service.selection.stations import (
    Post,
    Question,
    Station,
    build_station,
    fitting,
    hopeless_at,
    place_of,
    unfit,
    why_not,
)


def post(question: Question, detector_class: DetectorClass) -> Post | Fact:
    """The class under the question's conditions with its survey of every sheet, or why it cannot stand there."""
    bench = principles()[detector_class.principle].bench(detector_class, question.conditions)
    if isinstance(bench, Fact):
        return bench
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
        refusal = bench.refuses(sheet)
        if refusal is None:
            surveys[index] = bench.survey(sheet)
        else:
            refused[index] = refusal
    return Post(question=question, bench=bench, allowed=allowed, surveys=surveys, refused=refused)


def plan_for_class(place: Post) -> Plan | dict[int, Fact]:
    """One setting of one class for as many sheets as it can serve: the worst is left out until the rest is served.

    Where nothing is left, the reason for each sheet.
    """
    left_out = dict(place.refused)
    surveys = dict(place.surveys)
    while surveys:
        choice = best_setting(place.bench, surveys, allowed=place.allowed, step=place.principle.band_step)
        hopeless = hopeless_at(place, surveys, choice)
        if hopeless:
            left_out |= hopeless
            surveys = {i: s for i, s in surveys.items() if i not in hopeless}
            continue
        station = build_station(place, choice, sorted(surveys))
        bad = unfit(station)
        if not bad:
            return Plan(stations=(station,), left_out=left_out)
        left_out[bad[0]] = why_not(station, bad[0])
        del surveys[bad[0]]
    return left_out


def plans_for_list(posts: Sequence[Post], *, limit: int) -> list[Plan]:
    """The fewest classes, positions and profiles that serve the most sheets, and the next best by other classes."""
    if not posts:
        return []
    listed = list_of(posts)
    return [_plan(listed, cover) for cover in covers(listed.candidates, limit=limit)]


def _plan(listed: List, cover: Cover) -> Plan:
    left_out: dict[int, Fact] = {}
    stations: list[Station] = []
    for row in cover.rows:
        way = listed.ways[row]
        indices = [i for i, r in enumerate(cover.assignment) if r == row]
        surveys = {i: way.post.surveys[i] for i in indices}
        choice = choice_at(way.post.bench, surveys, way.setting, allowed=way.post.allowed, band=way.band)
        while indices:
            station = build_station(way.post, choice, indices, band=(int(way.band[0]), int(way.band[1])))
            bad = unfit(station)
            if not bad:
                stations.append(station)
                break
            left_out |= {i: why_not(station, i) for i in bad}
            indices = [i for i in indices if i not in bad]
    return Plan(stations=tuple(stations), left_out=left_out)
