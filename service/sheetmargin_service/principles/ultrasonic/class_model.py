"""One ultrasonic class under given conditions, as the search and the decision ask it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Detail, Fact, Receiver, Settings, Survey
from sheetmargin_service.principles.ultrasonic.facts import facts_of
from sheetmargin_service.principles.ultrasonic.pair import Pair, Row
from sheetmargin_service.principles.ultrasonic.pair_group import Fleet, Look

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class UltrasonicBench:
    """The class that stands at `place` of a fleet. N settings: its own that fit the line.

    `looks`: what is known of each sheet, by identity; benches that are asked together share them.
    """

    detector_class: DetectorClass
    fleet: Fleet
    place: int
    looks: dict[int, Look]

    @property
    def pair(self) -> Pair:
        return self.fleet.row.pairs[self.place]

    @property
    def parameters(self) -> UltrasonicParameters:
        return self.pair.parameters

    @property
    def _part(self) -> slice:
        return self.fleet.settings[self.place]

    @property
    def settings(self) -> Settings:
        return self.fleet.offers[self.place]

    @property
    def receiver(self) -> Receiver:
        return self.fleet.receivers[self.place]

    @property
    def floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        bypass, noise = self.fleet.floors_db
        return bypass[self._part], noise[self._part]

    def refuses(self, sheet: Sheet) -> Fact | None:
        return None

    def look(self, sheet: Sheet) -> Look:
        """What is known of a sheet before the fleet, computed once."""
        if id(sheet) not in self.looks:
            self.looks[id(sheet)] = Look(fleet=self.fleet, sheet=sheet)
        return self.looks[id(sheet)]

    def survey(self, sheet: Sheet) -> Survey:
        return self.look(sheet).survey.of(self._part)

    def detail(self, sheet: Sheet, setting: int) -> Detail:
        return self.fleet.details([(self.look(sheet), self.place_of(setting))])[0]

    def place_of(self, setting: int) -> int:
        """One of the bench's settings among those of the fleet."""
        return int(self._part.start) + setting

    def single_db(self, sheet: Sheet) -> Array:
        """Mean attenuation of one sheet, (N,)."""
        return self.look(sheet).single.mean[self._part]

    def bounce_amplitude(self, attenuation_db: float) -> Array:
        """Relative amplitude of a bounce between a face and a sheet of that attenuation, (N,)."""
        return self.fleet.bounce_amplitude(np.full(len(self.fleet.keep), attenuation_db))[self._part]

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return facts_of(self, sheet, setting)


def bench_of(detector_class: DetectorClass, pair: Pair, conditions: Conditions, *, keep: Indices) -> UltrasonicBench:
    """A class by itself, at the settings `keep` of a pair."""
    fleet = Fleet(row=Row(pairs=(pair,)), conditions=conditions, keep=keep)
    return UltrasonicBench(detector_class=detector_class, fleet=fleet, place=0, looks={})
