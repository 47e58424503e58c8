"""Sheets as they may be: one draw of what is not known of a stock, made nominal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import exp

from sheetmargin_service.materials.material import Interval
from sheetmargin_service.materials.permeance import typical_permeance
from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.principles.lots import lot_of
from sheetmargin_service.principles.ultrasonic.films import AIR_FACTOR, LOOSE_FACTOR
from sheetmargin_service.principles.ultrasonic.responses import STIFFNESSES, layer_groups


def in_world(a_sheet: Sheet, z: Mapping[str, float]) -> Sheet:
    """The sheet as it is where what is not known of it lies so many standard deviations off: nominal in that."""
    lot = lot_of(a_sheet)
    mass, density = (exp(z["mass"] * row[0] + z["thickness"] * row[1]) for row in (lot.mass, lot.density))
    factor = mass / density

    def at(interval: Interval, deviation: float) -> Interval:
        """Log-normal through the ends, which hold 90 %."""
        ratio = interval.high if deviation > 0.0 else interval.low
        value = interval.nominal * (ratio / interval.nominal) ** (abs(deviation) / 1.6448536)
        return replace(interval, nominal=value)

    def moved(layer: SheetLayer) -> SheetLayer:
        material = layer.material
        (group,) = (name for name, layers in stiffnesses.items() if a_sheet.layers.index(layer) in layers)
        moduli = {
            name: at(value, z[group]) for name, value in vars(material.elastic).items() if isinstance(value, Interval)
        }
        porous = material.porous
        if porous is not None:
            porous = replace(porous, permeance_um_per_pa_s=at(porous.permeance_um_per_pa_s, z["permeance"]))
        loss = at(material.loss_factor, z["loss"])
        material = replace(material, elastic=replace(material.elastic, **moduli), loss_factor=loss, porous=porous)
        thickness_um, density_kg_m3 = factor * layer.thickness_um, density * layer.density_kg_m3
        return replace(layer, material=material, thickness_um=thickness_um, density_kg_m3=density_kg_m3)

    stiffnesses = dict(zip(STIFFNESSES, layer_groups(a_sheet), strict=False))
    layers = tuple(moved(layer) for layer in a_sheet.layers)
    pores = typical_permeance(layers)
    air, wider = a_sheet.trapped_air, AIR_FACTOR ** (z["film"] / 1.6448536)
    return replace(
        a_sheet,
        layers=layers,
        thickness_um=factor * a_sheet.thickness_um,
        permeance_um_per_pa_s=a_sheet.permeance_um_per_pa_s if a_sheet.typical_permeance is None else factor * pores,
        trapped_air=replace(
            air,
            least_um=wider * air.least_um,
            p5_um=wider * air.p5_um,
            p50_um=wider * air.p50_um,
            p95_um=wider * air.p95_um,
            loose_max_um=max(air.loose_max_um, 1.01 * wider * air.p95_um),
            loose_share=min(air.loose_share * LOOSE_FACTOR ** (z["loose"] / 1.6448536), 0.5),
        ),
    )
