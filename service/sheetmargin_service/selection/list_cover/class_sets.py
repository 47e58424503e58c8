"""Several classes for a list that none serves as well by itself.

Each brings the stations that it would have alone, so that what a set of classes can do depends on nothing but these
classes. Which of them, and which station for which sheet, is a cover again: of the set-ups that are known in full.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np
from sheetmargin.contract.answer import Verdict

from sheetmargin_service.selection.configured_pair import Station, without
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.changeovers import cheapest_run
from sheetmargin_service.selection.list_cover.cover import covers
from sheetmargin_service.selection.ranking import Plan, standing
from sheetmargin_service.selection.targets import ORDER

Assignment = Sequence[int | None]
"""Which of the stations serves each sheet."""
VERDICTS: tuple[Verdict, ...] = ("suitable", "trial-needed")
MOST_SETS = 8
"""Sets of classes that are looked at (a choice): those with the fewest classes and set-ups come first."""


def together(alone: Sequence[Plan]) -> list[Plan]:
    """Plans of several classes that serve every sheet that any serves, where no class does so by itself: first those
    without a trial, where all sheets can be served so. `alone` are the plans of each class by itself."""
    if len(alone) < 2:
        return []
    stations = sorted((station for plan in alone for station in plan.stations), key=_place)
    everyone = {i for station in stations for i in station.served}
    plans: list[Plan] = []
    for verdict in VERDICTS:
        if any(plan.served == len(everyone) and ORDER[plan.verdict] <= ORDER[verdict] for plan in alone):
            break
        candidates = _candidates(stations, at_worst=verdict)
        if np.isfinite(candidates.margin).any(axis=0).sum() == len(everyone):
            ways = _assignments(candidates, everyone, ordered=stations[0].post.question.job.keep_sequence)
            plans += [_plan(stations, assignment) for assignment in ways]
    return plans


def _place(station: Station) -> tuple[str, tuple[float, float], str]:
    """Class, position and profile, in the order of candidates."""
    settings, at = station.post.bench.settings, station.choice.setting
    position = float(settings.tilt_deg[at]), float(settings.gap_mm[at])
    return station.post.detector_class.id, position, f"{station.low:06d}-{station.high:06d}"


def _candidates(stations: Sequence[Station], *, at_worst: Verdict) -> Candidates:
    """The stations as ways to serve the sheets of which they do not fall short of a verdict. In the place of a margin
    stands how many worse results there are: results of several principles have no unit in common."""
    counts = [
        (row, i, standing(station, served))
        for row, station in enumerate(stations)
        for i, served in station.served.items()
        if ORDER[served.judgement.verdict] <= ORDER[at_worst]
    ]
    worse = {result: float(rank) for rank, result in enumerate(sorted({c[2] for c in counts}, reverse=True))}
    margin = np.full((len(stations), len(stations[0].post.question.sheets)), -np.inf)
    for row, i, result in counts:
        margin[row, i] = worse[result]
    classes, positions, profiles = zip(*map(_place, stations), strict=True)
    return Candidates(classes=classes, positions=positions, profiles=profiles, margin=margin)


def _assignments(candidates: Candidates, everyone: Collection[int], *, ordered: bool) -> Iterator[Assignment]:
    """Which station serves which sheet, the best first, as long as everyone is served."""
    if ordered:
        run = cheapest_run(candidates)
        assert run is not None
        yield run.assignment
        return
    for cover in covers(candidates, limit=MOST_SETS):
        if len(cover.unserved) > candidates.margin.shape[1] - len(everyone):
            return
        yield cover.assignment


def _plan(stations: Sequence[Station], assignment: Assignment) -> Plan:
    kept = []
    for row, station in enumerate(stations):
        others = [i for i in station.served if assignment[i] != row]
        if len(others) < len(station.served):
            kept.append(without(station, others))
    return Plan(stations=tuple(kept), left_out={})
