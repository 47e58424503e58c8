"""A job made ready: its sheets resolved, its surroundings and targets filled in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sheetmargin.contract.job import Job

from sheetmargin_service.cached import cached_property
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.mounting.stream import Stream, in_stream, stream_of
from sheetmargin_service.mounting.timing import Assumed
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.selection.defaults import timed_by
from sheetmargin_service.selection.experience import Experience, Tried, experience_at


@dataclass(frozen=True, kw_only=True)
class ResolvedJob:
    """A job made ready: its sheets resolved, its surroundings and targets filled in, its trials weighed, by sheet."""

    job: Job
    sheets: tuple[Sheet, ...]
    conditions: Conditions
    targets: Mapping[str, float]
    tried: Mapping[int, tuple[Tried, ...]] = field(default_factory=dict)
    _stacks: dict[tuple[int, int], Sheet] = field(default_factory=dict)
    _in_beam: dict[int, tuple[Sheet, ...]] = field(default_factory=dict)

    @cached_property
    def assumed(self) -> Assumed:
        """Line and controller with what is taken of them where times ask for it."""
        return timed_by(self.job)[0]

    @cached_property
    def stream(self) -> Stream | None:
        """How the sheets lie on one another; None where they come one by one."""
        return stream_of(self.job.line)

    def in_beam(self, index: int) -> tuple[Sheet, ...]:
        """All that is correct in the beam of one of the sheets, the same objects for every class: the sheet, or what a
        stream of it has there in turn."""
        if index not in self._in_beam:
            sheet = self.sheets[index]
            self._in_beam[index] = (sheet,) if self.stream is None else in_stream(sheet, self.stream)
        return self._in_beam[index]

    def experience(self, index: int, *, detector_class: str, gap_mm: float, tilt_deg: float) -> Experience | None:
        """What trials of one of the sheets say of a place; None without trials."""
        tried = self.tried.get(index)
        if tried is None:
            return None
        return experience_at(tried, detector_class=detector_class, gap_mm=gap_mm, tilt_deg=tilt_deg)

    def stack(self, index: int, plies: int) -> Sheet:
        """One of the sheets with another number of plies, one object for every class that is asked about it."""
        return self._stacks.setdefault((index, plies), replace(self.sheets[index], plies=plies))

    def of_sheet(self, sheet: Sheet) -> ResolvedJob:
        """The same asked of one other sheet."""
        return replace(self, sheets=(sheet,), tried={}, _stacks={}, _in_beam={})
