"""The order of recommendations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sheetmargin_service.prediction.principles.base import Fact
from sheetmargin_service.selection.answer import Verdict
from sheetmargin_service.selection.stations import ROOMY_MM, Station
from sheetmargin_service.selection.targets import ORDER


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to buy and how to set it: stations that share out the sheets, and why the others are left out."""

    stations: tuple[Station, ...]
    left_out: dict[int, Fact]

    @property
    def verdict(self) -> Verdict:
        return max((station.verdict for station in self.stations), key=lambda v: ORDER[v])

    @property
    def served(self) -> int:
        return sum(len(station.served) for station in self.stations)

    @property
    def worst(self) -> float:
        return min(station.worst for station in self.stations)


Key = tuple[int | float | str | bool, ...]


def ranked(plans: Sequence[Plan]) -> list[Plan]:
    """Most sheets served; then the verdict; then, where a target is not surely met, the misreads against it in half
    powers of ten; then no contact, room for the sheet, and nothing else that moves the signal; then the margin, then
    the simpler set-up.

    Margins of one principle are compared as they are, those of several as multiples of one sheet's own spread.
    """
    one_principle = len({st.post.principle.id for plan in plans for st in plan.stations}) <= 1
    return sorted(plans, key=lambda plan: _key(plan, one_principle=one_principle))


def _key(plan: Plan, *, one_principle: bool) -> Key:
    stations = plan.stations
    margin = plan.worst if one_principle else min(_reserve(station) for station in stations)
    return (
        -plan.served,
        ORDER[plan.verdict],
        len(stations),
        0.0 if plan.verdict == "suitable" else max(s.judgement.ratio for st in stations for s in st.served.values()),
        any(not st.post.detector_class.contactless for st in stations),
        any(st.choice.gap.nominal < ROOMY_MM for st in stations),
        any(st.post.principle.depends_on for st in stations),
        -margin,
        any(bool(st.choice.tilt and st.choice.tilt.nominal) for st in stations),
        -min(st.choice.gap.max - st.choice.gap.min for st in stations),
        *(st.post.detector_class.id for st in stations),
    )


def _reserve(station: Station) -> float:
    each = []
    for served in station.served.values():
        single = served.survey.single
        each.append(served.worst / max(float(single.p99[0] - single.p1[0]), 1e-9))
    return round(min(each), 2)
