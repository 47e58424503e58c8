"""Eddy currents with a coil on either side of the sheet: attenuation of the open path, in dB.

The far coil sees what passes the sheet, spread over spatial frequency (eddy_current.coil, eddy_current.sheet):
    U/U0 = int s(k) e^(-k (gap - h)) T(k) dk / int s(k) e^(-k gap) dk,    h the thickness of what lies between.
The air above and below enters only by its sum, gap - h: where the sheet runs does not matter, exactly, as long as it is
wide and flat. Tilting it by a small angle changes its thickness along the axis by the angle squared over two.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import DB_PER_NEPER, HALF_WIDTH_95
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.eddy_current.coil import coil_of, nodes
from sheetmargin_service.principles.eddy_current.facts import skin_depth_fact, taught_facts
from sheetmargin_service.principles.eddy_current.parameters import EddyCurrentParameters
from sheetmargin_service.principles.eddy_current.stack import (
    AS_NOMINAL,
    Moved,
    conductors,
    influences,
    one_ply,
    plies,
)
from sheetmargin_service.principles.gap_limits import (
    level_settings,
    too_narrow,
    too_thick,
)
from sheetmargin_service.principles.protocol import (
    Fact,
    Receiver,
    Settings,
    SignalDistribution,
    SignalTable,
)
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.signals import (
    UNUSABLE_SIGMA,
    Readings,
    States,
    moved_by,
    open_readings,
    states_of,
    taught,
)

Array = NDArray[np.float64]

GRID = SignalGrid(low=-60.0, step=0.05, count=4000)
K_NODES = 96
FLOOR_MARGIN_DB = 10.0
"""No band edge comes nearer to the floor: above it crosstalk of unknown phase moves a reading by more than 3 dB."""
LEAST_SIDE_MM = 3.0
"""Least way from a face to the sheet beyond its flutter (a choice: a crumpled sheet must not touch)."""


@lru_cache(maxsize=64)
def _coupling(parameters: EddyCurrentParameters, offered_mm: tuple[float, ...]) -> tuple[Array, Array, Array]:
    """Spatial frequencies (K,), their shares (N, K) of the open coupling at each gap, and the open coupling in dB over
    the one at the reference gap, (N,)."""
    p = parameters
    distance = np.array([*offered_mm, p.reference_gap_mm]) + 2.0 * p.recess_mm
    k, weight = nodes(coil_of(p), distance_m=distance * 1e-3, count=K_NODES)
    total = weight.sum(axis=1)
    return k, (weight / total[:, None])[:-1], 20.0 * np.log10(total[:-1] / total[-1])


@dataclass(frozen=True, kw_only=True)
class EddyCurrentModel:
    """One class under given conditions. N settings: the gaps that fit the line."""

    detector_class: DetectorClass
    parameters: EddyCurrentParameters
    conditions: Conditions
    offered_mm: tuple[float, ...]
    keep: NDArray[np.intp]

    @cached_property
    def settings(self) -> Settings:
        return level_settings(np.array(self.offered_mm)[self.keep])

    @cached_property
    def _floor_db(self) -> Array:
        """Attenuation at which the floor is reached, (N,)."""
        return self.parameters.floor_db + _coupling(self.parameters, self.offered_mm)[2][self.keep]

    @cached_property
    def receiver(self) -> Receiver:
        highest = self._floor_db - FLOOR_MARGIN_DB
        return Receiver(
            lowest_edge=np.zeros_like(highest),
            highest_edge=highest,
            widest_band=float(highest.max()),
        )

    def refuses(self, sheet: Sheet) -> Fact | None:
        if not conductors(sheet):
            return Fact(code="not-conductive", values={"material": sheet.material_id, "attenuation_db": 0.0})
        return too_thick(sheet, self.settings, clearance_mm=self.conditions.flutter_mm)

    def signal_table(self, sheet: Sheet) -> SignalTable:
        return self._states(sheet, np.arange(len(self.keep))).signal_table()

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        return self._states(sheet, np.array([setting])).distribution()

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        single, double = (
            float(self._attenuation_db(sheet, np.array([setting]), count=count)[0, 0, 0])
            for count in (sheet.plies, sheet.double_plies)
        )
        return (
            skin_depth_fact(sheet, self.parameters.frequency_hz),
            Fact(code="coil-transmission", values={"single_db": round(single, 1), "double_db": round(double, 1)}),
            Fact(code="position-independent", values={"flutter_mm": self.conditions.flutter_mm}),
            *taught_facts(self.parameters),
        )

    def _attenuation_db(
        self,
        sheet: Sheet,
        settings: NDArray[np.intp],
        *,
        count: int,
        film: Array | None = None,
        moved: Moved = AS_NOMINAL,
    ) -> Array:
        """Attenuation (V, N, M) of `count` plies, noise left out, with the air `film` (M,) in the last joint."""
        k, share, _ = _coupling(self.parameters, self.offered_mm)
        ply = one_ply(
            sheet,
            frequency_hz=self.parameters.frequency_hz,
            k_per_m=k,
            moved=moved,
        )
        joint = sheet.trapped_air.p50_um * 1e-6
        stack = plies(ply, count=count, joint_m=joint, film_m=film, k_per_m=k)
        last = np.array([joint]) if film is None else film
        solid = count * sheet.thickness_um * 1e-6 * (1.0 + moved.thickness + moved.lot_thickness)
        height = (solid + (count - 2) * joint + last)[:, None] if count > 1 else np.array([[solid]])
        passed = stack.passed * np.exp(k * height)
        amplitude = np.abs(np.einsum("nk,vmk->vnm", share[self.keep[settings]], passed))
        return np.asarray(-20.0 * np.log10(np.maximum(amplitude, 1e-15)))

    def _readings(
        self, sheet: Sheet, settings: NDArray[np.intp], *, count: int, film: Array | None, weights: Array
    ) -> Readings:
        def read(**moved: float) -> Array:
            return self._attenuation_db(sheet, settings, count=count, moved=Moved(**moved))[..., 0]

        moves = moved_by(read, influences(sheet, self.parameters, self.conditions, count=count))
        floor = 10.0 ** (-0.05 * self._floor_db[settings])
        amplitude = np.hypot(
            10.0 ** (-0.05 * self._attenuation_db(sheet, settings, count=count, film=film)), floor[:, None]
        )
        noise = DB_PER_NEPER * np.sqrt(0.5) * floor / (amplitude @ weights)
        narrow = too_narrow(sheet, self.settings.gap_mm[settings], clearance_mm=self.conditions.flutter_mm)
        return Readings(
            values=-20.0 * np.log10(amplitude),
            weights=weights,
            moves={**moves, **self._own_moves(len(settings)), "noise": np.where(narrow, UNUSABLE_SIGMA, noise)},
        )

    def _own_moves(self, count: int) -> dict[str, Array]:
        """What moves every state alike, (count,)."""
        return {"drift": np.full(count, self.parameters.drift_db / HALF_WIDTH_95)}

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
