"""One ultrasonic class under given conditions, as the search and the decision ask it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.principles.base import Detail, Fact, Receiver, Settings, Survey
from sheetmargin_service.prediction.principles.ultrasonic.facts import facts_of
from sheetmargin_service.prediction.principles.ultrasonic.fleet import Fleet
from sheetmargin_service.prediction.principles.ultrasonic.pair import Pair, Row

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class UltrasonicBench:
    """The class that stands at `place` of a fleet. N settings: its own that fit the line."""

    detector_class: DetectorClass
    fleet: Fleet
    place: int

    @property
    def pair(self) -> Pair:
        return self.fleet.row.pairs[self.place]

    @property
    def parameters(self) -> UltrasonicParameters:
        return self.pair.parameters

    @property
    def _part(self) -> slice:
        return self.fleet.settings[self.place]

    @cached_property
    def settings(self) -> Settings:
        keep = self.fleet.keep[self._part]
        return Settings(gap_mm=self.fleet.row.gap_mm[keep], tilt_deg=self.fleet.row.tilt_deg[keep])

    @cached_property
    def receiver(self) -> Receiver:
        p, open_db = self.parameters, self.fleet.open_db[self._part]
        overload, noise = p.overload_db + open_db, p.noise_db + open_db
        return Receiver(
            lowest_edge=np.maximum(overload, 0.0) + 1.0,
            highest_edge=np.minimum(overload + p.gain_range_db + p.span_db, noise),
            widest_band=p.span_db,
        )

    @property
    def floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        bypass, noise = self.fleet.floors_db
        return bypass[self._part], noise[self._part]

    def refuses(self, sheet: Sheet) -> Fact | None:
        return None

    def survey(self, sheet: Sheet) -> Survey:
        return self.fleet.look(sheet).survey.of(self._part)

    def detail(self, sheet: Sheet, setting: int) -> Detail:
        return self.fleet.details([(sheet, self.place_of(setting))])[0]

    def place_of(self, setting: int) -> int:
        """One of the bench's settings among those of the fleet."""
        return int(self._part.start) + setting

    def single_db(self, sheet: Sheet) -> Array:
        """Mean attenuation of one sheet, (N,)."""
        return self.fleet.look(sheet).single.mean[self._part]

    def bounce_amplitude(self, attenuation_db: float) -> Array:
        """Relative amplitude of a bounce between a face and a sheet of that attenuation, (N,)."""
        return self.fleet.bounce_amplitude(np.full(len(self.fleet.keep), attenuation_db))[self._part]

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return facts_of(self, sheet, setting)


def bench_of(detector_class: DetectorClass, pair: Pair, conditions: Conditions, *, keep: Indices) -> UltrasonicBench:
    """A class by itself, at the settings `keep` of a pair."""
    fleet = Fleet(row=Row(pairs=(pair,)), conditions=conditions, keep=keep)
    return UltrasonicBench(detector_class=detector_class, fleet=fleet, place=0)
