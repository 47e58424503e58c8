"""Eddy currents from one side: the change of coupling of two coils wound together, in per cent of the open coupling.

The field that the sheet sends back has gone twice the distance d from winding to sheet (Dodd and Deeds 1968):
    dL/L0 = int s(k) e^(-2 k d) R(k) dk / int s0(k) dk
with the spectra of eddy_current.coil and R of eddy_current.sheet. A second sheet lies behind the first, so where one is
thicker than about a skin depth the second adds nothing: one looks like two. The distance enters the exponent, hence the
sheet is pressed to the face or runs on it. Steel of 1.5 mm and more hides what lies behind it at every frequency, by
its permeability: even at 2 Hz 98 % of one sheet and of two overlap by 0.2 % before coils of 60 mm, and coils of 160 mm
take 2 Hz to tell 4 mm. A steady field that saturates it makes it let the field through.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.eddy_current.coil import coil_of, nodes, self_coupling
from sheetmargin_service.principles.eddy_current.facts import skin_depth_fact, taught_facts
from sheetmargin_service.principles.eddy_current.parameters import EddyCurrentParameters
from sheetmargin_service.principles.eddy_current.stack import (
    AS_NOMINAL,
    Moved,
    conductors,
    influences,
    is_magnetic,
    one_ply,
    plies,
)
from sheetmargin_service.principles.gap_limits import level_settings
from sheetmargin_service.principles.protocol import (
    Fact,
    Receiver,
    Settings,
    SignalDistribution,
    SignalTable,
)
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.signals import (
    Readings,
    States,
    moved_by,
    open_readings,
    states_of,
    taught,
)

Array = NDArray[np.float64]

GRID = SignalGrid(low=-5.0, step=0.02, count=5250)
K_NODES = 128
HIGHEST_PCT = 100.0
"""The sheet cannot take away more than all of the coupling."""


@lru_cache(maxsize=64)
def _reflection_spectrum(
    parameters: EddyCurrentParameters, offered_mm: tuple[float, ...]
) -> tuple[Array, Array, float]:
    """Spatial frequencies (K,), the returned field's share of the open coupling at each gap (N, K), and the noise in
    per cent."""
    p = parameters
    coil = coil_of(p)
    distance = np.array(offered_mm) + p.recess_mm
    k, weight = nodes(coil, distance_m=2e-3 * distance, count=K_NODES)
    return k, weight / self_coupling(coil), 100.0 * 10.0 ** (-0.05 * p.floor_db)


@dataclass(frozen=True, kw_only=True)
class OneSidedModel:
    """One class under given conditions. N settings: distances from face to sheet that fit on one side of the line."""

    detector_class: DetectorClass
    parameters: EddyCurrentParameters
    conditions: Conditions
    offered_mm: tuple[float, ...]
    keep: NDArray[np.intp]

    @cached_property
    def settings(self) -> Settings:
        return level_settings(np.array(self.offered_mm)[self.keep])

    def _own_moves(self, count: int) -> dict[str, Array]:
        """Noise and drift of the open coupling in per cent, (count,)."""
        drift = 100.0 * (10.0 ** (0.05 * self.parameters.drift_db) - 1.0) / HALF_WIDTH_95
        return {
            "drift": np.full(count, drift),
            "noise": np.full(count, _reflection_spectrum(self.parameters, self.offered_mm)[2]),
        }

    @cached_property
    def receiver(self) -> Receiver:
        count = len(self.settings.gap_mm)
        return Receiver(
            lowest_edge=np.zeros(count),
            highest_edge=np.full(count, HIGHEST_PCT),
            widest_band=HIGHEST_PCT,
        )

    def refuses(self, sheet: Sheet) -> Fact | None:
        if not conductors(sheet):
            return Fact(code="not-conductive", values={"material": sheet.material_id, "attenuation_db": 0.0})
        most_mm, double_mm = self.parameters.saturated_mm, 1e-3 * sheet.double_plies * sheet.thickness_um
        if most_mm is not None and double_mm > most_mm and is_magnetic(sheet):
            return Fact(code="not-saturated", values={"double_mm": round(double_mm, 2), "saturated_mm": most_mm})
        return None

    def signal_table(self, sheet: Sheet) -> SignalTable:
        return self._states(sheet, np.arange(len(self.settings.gap_mm))).signal_table()

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        return self._states(sheet, np.array([setting])).distribution()

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        at = np.array([setting])
        single, double = (
            float(self._change_pct(sheet, at, count=count)[0, 0, 0]) for count in (sheet.plies, sheet.double_plies)
        )
        lifted = float(self._change_pct(sheet, at, count=sheet.plies, lift_mm=self._hold_mm)[0, 0, 0])
        return (
            skin_depth_fact(sheet, self.parameters.frequency_hz),
            Fact(code="coupling-change", values={"single_pct": round(single, 1), "double_pct": round(double, 1)}),
            Fact(
                code="lift-off-moves-signal",
                values={"lift_mm": self._hold_mm, "shift_pct": round(abs(single - lifted), 2)},
            ),
            *taught_facts(self.parameters),
        )

    @property
    def _hold_mm(self) -> float:
        """Half width (95 %) of the distance from face to sheet."""
        hold = self.parameters.hold_mm
        return self.conditions.flutter_mm if hold is None else hold

    def _change_pct(
        self,
        sheet: Sheet,
        settings: NDArray[np.intp],
        *,
        count: int,
        film: Array | None = None,
        moved: Moved = AS_NOMINAL,
        lift_mm: float = 0.0,
    ) -> Array:
        """Change of coupling (V, N, M) by `count` plies, with the air `film` (M,) in the last joint."""
        k, share, _ = _reflection_spectrum(self.parameters, self.offered_mm)
        ply = one_ply(
            sheet,
            frequency_hz=self.parameters.frequency_hz,
            k_per_m=k,
            moved=moved,
            saturated=self.parameters.saturated_permeability,
        )
        stack = plies(ply, count=count, joint_m=sheet.trapped_air.p50_um * 1e-6, film_m=film, k_per_m=k)
        lifted = share[self.keep[settings]] * np.exp(-2e-3 * k * lift_mm)
        return np.asarray(100.0 * np.abs(np.einsum("nk,vmk->vnm", lifted, stack.front)))

    def _readings(
        self, sheet: Sheet, settings: NDArray[np.intp], *, count: int, film: Array | None, weights: Array
    ) -> Readings:
        def read(lift_mm: float = 0.0, **moved: float) -> Array:
            return self._change_pct(sheet, settings, count=count, moved=Moved(**moved), lift_mm=lift_mm)[..., 0]

        own = influences(sheet, self.parameters, self.conditions, count=count)
        moves = moved_by(read, {**own, "lift_mm": self._hold_mm / HALF_WIDTH_95})
        return Readings(
            values=self._change_pct(sheet, settings, count=count, film=film),
            weights=weights,
            moves={**moves, **self._own_moves(len(settings))},
        )

    def _states(self, sheet: Sheet, settings: NDArray[np.intp]) -> States:
        count = len(settings)

        def readings(plies: int, film: Array | None, weights: Array) -> Readings:
            return self._readings(sheet, settings, count=plies, film=film, weights=weights)

        states = states_of(
            sheet,
            no_sheet=open_readings(values=np.zeros(count), moves=self._own_moves(count)),
            variants="alloy",
            readings=readings,
        )
        if not self.parameters.taught_on_sheet:
            return states
        same = sheet.taught_plies == sheet.plies
        return taught(states, states.single if same else readings(sheet.taught_plies, None, np.ones(1)))
