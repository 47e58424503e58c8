"""A toy: sheets weighed as they pass, in g/m2. It shares nothing with any other principle but the protocol."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.detectors.parameters import broken_rules
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import (
    ClassModel,
    Fact,
    Places,
    Principle,
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


@dataclass(frozen=True, kw_only=True)
class WeighingParameters:
    """A scale that reads grams per square metre with one standard deviation, up to the heaviest that it bears."""

    deviation_gsm: float
    heaviest_gsm: float
    widest_mm: float
    reading_interval_ms: float
    response_ms: float

    def problems(self) -> list[str]:
        return broken_rules(self, {"deviation_gsm above 0": self.deviation_gsm > 0.0})


@dataclass(frozen=True, kw_only=True)
class Scale:
    """One scale."""

    detector_class: DetectorClass
    parameters: WeighingParameters
    gap_mm: Array

    @property
    def settings(self) -> Settings:
        return Settings(gap_mm=self.gap_mm, tilt_deg=np.zeros_like(self.gap_mm), tilts=False)

    @property
    def receiver(self) -> Receiver:
        heaviest, one = self.parameters.heaviest_gsm, np.ones_like(self.gap_mm)
        return Receiver(lowest_edge=one, highest_edge=heaviest * one, widest_band=heaviest)

    def refuses(self, sheet: Sheet) -> Fact | None:
        heaviest = self.parameters.heaviest_gsm
        if sheet.grammage_gsm < heaviest:
            return None
        return Fact(code="too-heavy", values={"grammage_gsm": sheet.grammage_gsm, "heaviest_gsm": heaviest})

    def _states(self, sheet: Sheet) -> Mapping[str, tuple[float, float, float]]:
        """Mean of each state, and the standard deviations of the scale and the sheet."""
        own, mass = self.parameters.deviation_gsm, sheet.grammage_gsm
        one = 0.01 * sheet.mass_tolerance_pct / 1.96 * mass
        counts = {"no_sheet": 0, "single": sheet.plies, "double": sheet.double_plies}
        return {state: (n * mass, own, one * n**0.5) for state, n in counts.items()}

    def signal_table(self, sheet: Sheet) -> SignalTable:
        spans = {}
        for state, (mean, own, sheets) in self._states(sheet).items():
            at = {p: norm.ppf(q, mean, np.hypot(own, sheets)) for p, q in (("p1", 0.01), ("p50", 0.5), ("p99", 0.99))}
            spans[state] = Span(**{p: np.full(len(self.gap_mm), value) for p, value in at.items()})
        return SignalTable(**spans)

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        states = self._states(sheet)
        spreads = {
            state: Spread(nominal=np.array([mean]), weights=np.ones((1, 1)), blur=float(np.hypot(own, sheets)))
            for state, (mean, own, sheets) in states.items()
        }
        (_, own, one), (_, _, two) = states["single"], states["double"]
        return SignalDistribution(**spreads, moves={"shaking": (own, own), "grammage": (one, two)})

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return (Fact(code="weighed", values={"sheet_gsm": sheet.grammage_gsm}),)


class Weighing(Principle[WeighingParameters]):
    """The toy principle."""

    id = "weighing"
    parameters = WeighingParameters
    quantity = "mass"
    unit = "g/m2"
    grid = GRID

    def gap_limits_mm(self, parameters: WeighingParameters) -> tuple[float, float]:
        return 5.0, parameters.widest_mm

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        p = self.parameters_of(detector_class)
        gap_mm = np.array([5.0, 10.0, p.widest_mm] if at is None else at.gap_mm)
        return Scale(detector_class=detector_class, parameters=p, gap_mm=gap_mm)


PRINCIPLE = Weighing()
