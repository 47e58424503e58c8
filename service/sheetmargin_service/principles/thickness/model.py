"""The thickness between two rollers or two laser spots, in um.

A reading is t / cos(tilt) + offset tan(tilt) plus the gauge's own errors, and the independent ones add by the root of
the sum of squares (JCGM 100:2008, 5.1.2). Two sheets carry the air between them: all of it under lasers, what the
contact pressure leaves under a roller. The pressure also squeezes the sheet itself, p / C33 of its thickness, and may
mark it. A laser's spot sinks into what is translucent, by up to the way light goes before it is scattered or absorbed,
1 / ((s + k) rho), on either face: the sheet reads thinner by up to twice that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.materials.stiffness import elastic_constants
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.gap_limits import (
    level_settings,
)
from sheetmargin_service.principles.kubelka_munk import scattering_layer
from sheetmargin_service.principles.layer_stack import stack
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
    air_between,
    lot_moves,
    open_readings,
    relative_thickness_deviation,
    states_of,
)
from sheetmargin_service.principles.thickness.parameters import ThicknessParameters

Array = NDArray[np.float64]

GRID = SignalGrid(low=-100.0, step=2.0, count=6000)
STATIC_SOFTENING = np.array([1.0, 1.0 / 3.0, 3.0])
"""A slow squeeze against the library's moduli near 200 kHz: as stiff, or three times softer or stiffer (typical, from
memory; soft solids are softer when slow)."""
SINKING = np.array([0.5, 0.0, 1.0])
"""Share of that way by which the spot's centre lies below the face: half of it, none, all (typical, from memory)."""
GREATEST_SQUEEZE = 0.2
"""A sheet squeezed by more of its thickness gives no reading to trust (a choice, stated)."""
LEAST_DIFFUSE = 0.05
"""Least share of light sent back diffusely that a triangulating laser can read (typical, from memory)."""
POLISHED_FAMILIES = ("glass", "semiconductor")
"""They send a laser back as a mirror does."""
FOIL_UM = 100.0
"""Thinner metal is rolled bright and mirrors too; thicker sheet scatters enough (typical, from memory)."""


def root_sum_square(*parts: float) -> float:
    """Independent contributions to one reading, combined (JCGM 100:2008, 5.1.2)."""
    return float(np.sqrt(np.sum(np.square(parts))))


@dataclass(frozen=True, kw_only=True)
class ThicknessModel:
    """One class under given conditions. One setting: a thickness gauge has no gap to choose."""

    detector_class: DetectorClass
    parameters: ThicknessParameters
    conditions: Conditions

    @cached_property
    def settings(self) -> Settings:
        return level_settings(np.array([2.0 * self.parameters.stand_off_mm]))

    @cached_property
    def _own_moves(self) -> dict[str, Array]:
        """Resolution with vibration, runout (a sine: its peak over the root of two), drift since zeroed, and, under
        lasers that do not meet in one point, the sheet's lean."""
        p = self.parameters
        lean = np.tan(np.radians(self.conditions.flutter_deg / HALF_WIDTH_95)) * 1e3 * (p.spot_offset_mm or 0.0)
        return {
            "noise": np.array([p.resolution_um]),
            "runout": np.array([p.runout_um / np.sqrt(2.0)]),
            "drift": np.array([p.drift_um / HALF_WIDTH_95]),
            "flutter": np.array([lean]),
        }

    @property
    def _own_sigma_um(self) -> float:
        return root_sum_square(*(float(move[0]) for move in self._own_moves.values()))

    @cached_property
    def receiver(self) -> Receiver:
        top = self.parameters.range_um
        return Receiver(lowest_edge=np.zeros(1), highest_edge=np.array([top]), widest_band=top)

    @property
    def _pressure_pa(self) -> float:
        """Mean pressure of a roller on the sheet; none under lasers."""
        p = self.parameters
        if p.force_n is None or p.contact_width_mm is None or p.contact_length_mm is None:
            return 0.0
        return p.force_n / (p.contact_width_mm * p.contact_length_mm * 1e-6)

    def refuses(self, sheet: Sheet) -> Fact | None:
        thickness = sheet.plies * sheet.thickness_um
        if thickness > self.parameters.range_um:
            values = {"thickness_um": round(thickness, 1), "range_um": self.parameters.range_um}
            return Fact(code="beyond-range", values={**values})
        return self._refuses_contact(sheet) if self.parameters.contact == "roller" else _refuses_light(sheet)

    def _refuses_contact(self, sheet: Sheet) -> Fact | None:
        squeeze = float(self._squeeze(sheet)[0])
        if squeeze <= GREATEST_SQUEEZE:
            return None
        return Fact(
            code="too-soft-for-contact",
            values={
                "pressure_kpa": round(self._pressure_pa / 1e3, 1),
                "squeeze_pct": round(100.0 * min(squeeze, 1.0)),
                "greatest_pct": round(100.0 * GREATEST_SQUEEZE),
            },
        )

    def _squeeze(self, sheet: Sheet) -> Array:
        """Share of its thickness by which the contact squeezes the sheet, (V,)."""
        yielded = 0.0
        for layer in sheet.layers:
            if layer.material is not None:
                c33 = elastic_constants(material=layer.material, density_kg_m3=layer.density_kg_m3)[2]
                yielded += layer.thickness_um * self._pressure_pa / float(np.real(c33))
        return yielded / sheet.thickness_um / STATIC_SOFTENING

    def _sunk_um(self, sheet: Sheet) -> Array:
        """By how much lasers read the sheet too thin, (V,): the depth of the spot in both outer layers."""
        if self.parameters.contact == "roller":
            return np.zeros(len(SINKING))
        first, last = (_depth_um(*ends) for ends in (_outer(sheet.layers), _outer(sheet.layers[::-1])))
        return SINKING * (first + last)

    def signal_table(self, sheet: Sheet) -> SignalTable:
        return self._states(sheet).signal_table()

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        return self._states(sheet).distribution()

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        p = self.parameters
        spread = root_sum_square(self._solid_sigma_um(sheet, count=sheet.plies), self._own_sigma_um)
        facts = [
            Fact(
                code="thickness-step",
                values={
                    "thickness_um": round(sheet.plies * sheet.thickness_um, 1),
                    "spread_um": round(HALF_WIDTH_95 * spread, 1),
                    "own_um": round(HALF_WIDTH_95 * self._own_sigma_um, 1),
                },
            ),
            Fact(
                code="air-adds-thickness",
                values={"air_um": round(p.air_left * sheet.trapped_air.p50_um, 1), "left_pct": round(100 * p.air_left)},
            ),
        ]
        if p.contact == "roller":
            pressure = round(self._pressure_pa / 1e3, 1)
            facts.append(Fact(code="contact-marks", values={"force_n": p.force_n, "pressure_kpa": pressure}))
            if self.conditions.bed is None:
                facts.append(Fact(code="bed-unknown", values={"support_mm": p.support_mm}))
        sunk = float(self._sunk_um(sheet)[-1])
        if sunk > 1.0:
            facts.append(Fact(code="spot-sinks-in", values={"sunk_um": round(sunk, 1)}))
        return tuple(facts)

    def _solid_sigma_um(self, sheet: Sheet, *, count: int) -> float:
        """Standard deviation of the thickness of `count` plies themselves."""
        p = self.parameters
        spot = p.contact_width_mm if p.contact == "roller" else p.spot_diameter_mm
        assert spot is not None
        return float(np.sqrt(count)) * sheet.thickness_um * relative_thickness_deviation(sheet, spot_mm=spot)

    def _readings(self, sheet: Sheet, *, count: int, film: Array | None, weights: Array) -> Readings:
        """`count` plies: the last joint by its distribution `film` where given, the others by its mean and variance."""
        p = self.parameters
        joint, share = air_between(sheet)
        joint_um = p.air_left * 1e6 * joint
        mean = float(joint_um @ share)
        plain = count - 1 if film is None else count - 2
        lean = 1.0 if p.contact == "roller" else float(np.cos(np.radians(self.conditions.flutter_deg / HALF_WIDTH_95)))
        solid = count * sheet.thickness_um * (1.0 - self._squeeze(sheet)) + plain * mean - self._sunk_um(sheet)
        last = np.zeros(1) if film is None else p.air_left * 1e6 * film
        between = float(np.sqrt(plain * (share @ (joint_um - mean) ** 2)))
        return Readings(
            values=(solid[:, None, None] + last) / lean,
            weights=weights,
            moves={
                **self._own_moves,
                "thickness": np.array([self._solid_sigma_um(sheet, count=count)]),
                **lot_moves(
                    sheet, bulk=np.array([count * sheet.thickness_um]), denser=np.array([-count * sheet.thickness_um])
                ),
                "inner-air": np.array([between]),
            },
        )

    def _states(self, sheet: Sheet) -> States:
        return states_of(
            sheet,
            no_sheet=open_readings(values=np.zeros(1), moves=self._own_moves),
            variants="compression-and-light",
            readings=lambda count, film, weights: self._readings(sheet, count=count, film=film, weights=weights),
        )


def _depth_um(layer: SheetLayer, below: SheetLayer | None) -> float:
    """The way of light in an outer layer before it is scattered or absorbed: at most half the layer, or all of it where
    metal lies behind it."""
    optical = layer.material.optical if layer.material else None
    if optical is None:
        return 0.0
    turbidity = (optical.scattering_m2_per_kg + optical.absorption_m2_per_kg) * layer.density_kg_m3
    share = 1.0 if _is_metal(below) else 0.5
    return min(1e6 / max(turbidity, 1.0), share * layer.thickness_um)


def _outer(layers: Sequence[SheetLayer]) -> tuple[SheetLayer, SheetLayer | None]:
    """The first of some layers, and what lies behind it."""
    return layers[0], layers[1] if len(layers) > 1 else None


def _is_metal(layer: SheetLayer | None) -> bool:
    return layer is not None and layer.material is not None and layer.material.family == "metal"


def _refuses_light(sheet: Sheet) -> Fact | None:
    """Why a triangulating laser sees no spot on one of the sheet's faces, or None. Behind a layer of film it sees
    metal."""
    if sheet.gloss:
        return Fact(code="mirror-surface", values={"material": sheet.material_id})
    for layer, behind in (_outer(sheet.layers), _outer(sheet.layers[::-1])):
        seen_at = behind if behind is not None and _depth_um(layer, behind) >= layer.thickness_um else layer
        if sheet.gloss is None and _mirrors(seen_at):
            material = seen_at.material.id if seen_at.material else sheet.material_id
            return Fact(code="mirror-surface", values={"material": material})
        if _is_metal(seen_at):
            return None
    seen = [
        scattering_layer(
            scattering_m2_per_kg=np.asarray(layer.material.optical.scattering_m2_per_kg),
            absorption_m2_per_kg=np.asarray(layer.material.optical.absorption_m2_per_kg),
            mass_kg_per_m2=np.asarray(layer.density_kg_m3 * layer.thickness_um * 1e-6),
        )
        for layer in sheet.layers
        if layer.material is not None and layer.material.optical is not None
    ]
    if not seen:
        return None
    whole = stack(seen)
    back = float(np.minimum(whole.front, whole.back))
    if back >= LEAST_DIFFUSE:
        return None
    return Fact(
        code="no-diffuse-spot",
        values={"reflected_pct": float(f"{100.0 * back:.2g}"), "least_pct": round(100.0 * LEAST_DIFFUSE)},
    )


def _mirrors(layer: SheetLayer) -> bool:
    family = layer.material.family if layer.material else "core"
    return family in POLISHED_FAMILIES or (family == "metal" and layer.thickness_um < FOIL_UM)
