"""One sheet and more as the coils' field meets them, with what is not known of the metal as variants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.eddy_current.parameters import EddyCurrentParameters
from sheetmargin_service.principles.eddy_current.sheet import conductive_layer, empty_layer
from sheetmargin_service.principles.layer_stack import Layer, add, stack
from sheetmargin_service.principles.signals import (
    lot_thickness_deviation,
    relative_thickness_deviation,
    uniform_deviation,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

PERMEABILITY_FACTORS = np.array([1.0, 1.0, 1.0, 0.5, 2.0])
"""Initial permeability of sheet steel moves this much with cold work and annealing (typical, from memory)."""
LOT_RESISTIVITY, LOT_PERMEABILITY = 0.03, 0.10
"""Relative standard deviations from lot to lot of one grade (typical, from memory)."""
TEMPERATURE_COEFFICIENT_PER_K = 0.004
"""Relative rise of a metal's resistivity: copper 0.0039, aluminium 0.0043, iron 0.005 (CRC Handbook, from memory);
alloys less."""


@dataclass(frozen=True, kw_only=True)
class Moved:
    """Relative changes of a sheet from its nominal state."""

    thickness: float = 0.0
    lot_thickness: float = 0.0
    resistivity: float = 0.0
    permeability: float = 0.0


AS_NOMINAL = Moved()


def influences(
    sheet: Sheet, parameters: EddyCurrentParameters, conditions: Conditions, *, count: int
) -> dict[str, float]:
    """Standard deviations of what moves `count` sheets together: each sheet has a thickness of its own within the lot,
    all have one temperature and come from one lot."""
    warmth = uniform_deviation(conditions.temperature_min_c, conditions.temperature_max_c)
    spot = 2.0 * parameters.coil_outer_radius_mm
    return {
        "thickness": relative_thickness_deviation(sheet, spot_mm=spot) / float(np.sqrt(count)),
        "lot_thickness": lot_thickness_deviation(sheet),
        "resistivity": float(np.hypot(TEMPERATURE_COEFFICIENT_PER_K * warmth, LOT_RESISTIVITY)),
        "permeability": LOT_PERMEABILITY,
    }


def conductors(sheet: Sheet) -> tuple[SheetLayer, ...]:
    """The layers that carry a current."""
    return tuple(
        layer for layer in sheet.layers if layer.material and layer.material.electrical.resistivity_ohm_m is not None
    )


def is_magnetic(sheet: Sheet) -> bool:
    """Whether any of its layers draws a field."""
    return any(
        layer.material is not None and layer.material.electrical.relative_permeability > 2.0 for layer in sheet.layers
    )


def one_ply(
    sheet: Sheet, *, frequency_hz: float, k_per_m: Array, moved: Moved, saturated: float | None = None
) -> Layer[Complex]:
    """One ply, (V, 1, K) for the V variants and K spatial frequencies: as nominal, at both ends of the resistivity of
    the material's alloys, and of its permeability, of which a steady field leaves no more than `saturated`."""
    layers = []
    # Round holes in a thin sheet: sigma (1 - a)/(1 + a), Maxwell's mixing rule (Treatise, 1873, art. 314) in a plane.
    holes = (1.0 + sheet.open_area_fraction) / (1.0 - sheet.open_area_fraction)
    for layer in sheet.layers:
        thickness = np.asarray(layer.thickness_um * 1e-6 * (1.0 + moved.thickness + moved.lot_thickness))
        electrical = layer.material.electrical if layer.material else None
        if electrical is None or electrical.resistivity is None:
            layers.append(empty_layer(thickness_m=thickness, k_per_m=k_per_m))
            continue
        mu = min(electrical.relative_permeability, saturated or np.inf)
        known = electrical.resistivity
        alloys = np.array([known.nominal, known.low, known.high, known.nominal, known.nominal])
        magnetic = (
            PERMEABILITY_FACTORS * (1.0 + moved.permeability) if mu != 1.0 else np.ones(len(PERMEABILITY_FACTORS))
        )
        layers.append(
            conductive_layer(
                thickness_m=thickness,
                resistivity_ohm_m=_column(alloys * (1.0 + moved.resistivity) * holes),
                relative_permeability=_column(np.maximum(mu * magnetic, 1.0)),
                frequency_hz=frequency_hz,
                k_per_m=k_per_m,
            )
        )
    return stack(layers)


def plies(ply: Layer[Complex], *, count: int, joint_m: float, film_m: Array | None, k_per_m: Array) -> Layer[Complex]:
    """`count` plies with the air `joint_m` between them, the last joint `film_m` (M,) where given: (V, M or 1, K)."""
    joint = empty_layer(thickness_m=np.asarray(joint_m), k_per_m=k_per_m)
    last = joint if film_m is None else empty_layer(thickness_m=film_m[:, None], k_per_m=k_per_m)
    result = ply
    for number in range(1, count):
        result = add(add(result, last if number == count - 1 else joint), ply)
    return result


def _column(values: Array) -> Array:
    return values[:, None, None]
