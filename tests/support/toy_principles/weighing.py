"""A toy: sheets weighed as they pass, in g/m2. It shares nothing with any other principle but the protocol."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import (
    ClassModel,
    Fact,
    Receiver,
    Settings,
    SignalDistribution,
    SignalTable,
    Span,
    Spread,
)
from sheetmargin_service.principles.signal_grid import SignalGrid

Array = NDArray[np.float64]
GRID = SignalGrid(low=-50.0, step=1.0, count=1500)
GAPS_MM = np.array([5.0, 10.0, 20.0])


@dataclass(frozen=True, kw_only=True)
class WeighingParameters:
    """A scale that reads grams per square metre with one standard deviation, up to the heaviest that it bears."""

    deviation_gsm: float
    heaviest_gsm: float
    reading_interval_ms: float
    response_ms: float

    def problems(self) -> list[str]:
        return [] if self.deviation_gsm > 0.0 else ["deviation_gsm above 0"]


@dataclass(frozen=True, kw_only=True)
class Scale:
    """One scale."""

    detector_class: DetectorClass

    @property
    def parameters(self) -> WeighingParameters:
        assert isinstance(self.detector_class.parameters, WeighingParameters)
        return self.detector_class.parameters

    @property
    def settings(self) -> Settings:
        return Settings(gap_mm=GAPS_MM, tilt_deg=np.zeros(3), tilts=False)

    @property
    def receiver(self) -> Receiver:
        heaviest = np.full(3, self.parameters.heaviest_gsm)
        return Receiver(lowest_edge=np.ones(3), highest_edge=heaviest, widest_band=self.parameters.heaviest_gsm)

    def refuses(self, sheet: Sheet) -> Fact | None:
        if sheet.grammage_gsm < self.parameters.heaviest_gsm:
            return None
        return Fact(code="too-thick", values={"thickness_mm": sheet.thickness_um / 1e3, "room_mm": 1.0})

    def _states(self, sheet: Sheet) -> Mapping[str, tuple[float, float]]:
        """Mean and standard deviation of each state."""
        own, mass = self.parameters.deviation_gsm, sheet.grammage_gsm
        one = 0.01 * sheet.mass_tolerance_pct / 1.96 * mass
        counts = {"no_sheet": 0, "single": sheet.plies, "double": sheet.double_plies}
        return {state: (n * mass, float(np.hypot(own, one * n**0.5))) for state, n in counts.items()}

    def signal_table(self, sheet: Sheet) -> SignalTable:
        spans = {
            state: Span(**{p: np.full(3, norm.ppf(q, *at)) for p, q in (("p1", 0.01), ("p50", 0.5), ("p99", 0.99))})
            for state, at in self._states(sheet).items()
        }
        return SignalTable(**spans)

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        spreads = {
            state: Spread(nominal=np.array([mean]), weights=np.ones((1, 1)), blur=deviation)
            for state, (mean, deviation) in self._states(sheet).items()
        }
        return SignalDistribution(**spreads)

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return (Fact(code="weighed", values={"sheet_gsm": sheet.grammage_gsm}),)


class Weighing:
    """The toy principle."""

    id = "weighing"
    quantity = "mass"
    unit = "g/m2"
    depends_on: tuple[str, ...] = ()
    band_step = 1
    grid = GRID

    def class_model(self, detector_class: DetectorClass, conditions: Conditions) -> ClassModel | Fact:
        return Scale(detector_class=detector_class)


PRINCIPLE = Weighing()
