"""One ultrasonic class under given conditions, as the search and the decision ask it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Fact, Receiver, Settings, SignalDistribution, SignalTable
from sheetmargin_service.principles.ultrasonic.facts import facts_of
from sheetmargin_service.principles.ultrasonic.pair import Pair, Row
from sheetmargin_service.principles.ultrasonic.pair_group import PairGroup, SheetLevels, sheet_levels
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class UltrasonicModel:
    """The class that stands at `index` of a group of pairs. N settings: its own that fit the line.

    `known`: what is known of each sheet; classes that are asked together share them.
    """

    detector_class: DetectorClass
    pair_group: PairGroup
    index: int
    known: dict[Sheet, SheetLevels]

    @property
    def pair(self) -> Pair:
        return self.pair_group.row.pairs[self.index]

    @property
    def parameters(self) -> UltrasonicParameters:
        return self.pair.parameters

    @property
    def _part(self) -> slice:
        return self.pair_group.settings[self.index]

    @property
    def settings(self) -> Settings:
        return self.pair_group.offers[self.index]

    @property
    def receiver(self) -> Receiver:
        return self.pair_group.receivers[self.index]

    @property
    def floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        bypass, noise = self.pair_group.floors_db
        return bypass[self._part], noise[self._part]

    def refuses(self, sheet: Sheet) -> Fact | None:
        return None

    def levels_of(self, sheet: Sheet) -> SheetLevels:
        """What is known of a sheet before the group of pairs, computed once."""
        if sheet not in self.known:
            self.known[sheet] = sheet_levels(self.pair_group, sheet)
        return self.known[sheet]

    def forget_waves_but(self, sheets: Sequence[Sheet]) -> None:
        """Keep waves of the sheets in hand alone: those of a whole list would not fit."""
        for sheet in self.known.keys() - set(sheets):
            self.known[sheet].forget_waves()

    def signal_table(self, sheet: Sheet) -> SignalTable:
        return self.levels_of(sheet).signal_table.of(self._part)

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        return self.pair_group.distributions([(self.levels_of(sheet), self.setting_of(setting))])[0]

    def setting_of(self, setting: int) -> int:
        """One of the class's settings among those of the group of pairs."""
        return int(self._part.start) + setting

    def single_db(self, sheet: Sheet) -> Array:
        """Mean attenuation of one sheet, (N,)."""
        return self.levels_of(sheet).single.mean[self._part]

    def bounce_amplitude(self, attenuation_db: float) -> Array:
        """Relative amplitude of a bounce between a face and a sheet of that attenuation, (N,)."""
        return self.pair_group.bounce_amplitude(np.full(len(self.pair_group.keep), attenuation_db))[self._part]

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return facts_of(self, sheet, setting)


def class_model_of(
    detector_class: DetectorClass, pair: Pair, conditions: Conditions, *, keep: Indices
) -> UltrasonicModel:
    """A class by itself, at the settings `keep` of a pair."""
    pair_group = PairGroup(row=Row(pairs=(pair,)), conditions=conditions, keep=keep)
    return UltrasonicModel(detector_class=detector_class, pair_group=pair_group, index=0, known={})
