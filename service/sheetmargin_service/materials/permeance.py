"""Air permeance of a sheet in the forms that instruments give it, and the pore space it implies.

Bekk seconds are not among them: they time the air between a sheet and a glass plate, its smoothness, and no conversion
to permeance is published.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.custom import TYPICAL
from sheetmargin_service.materials.material import Interval, Material, Porous
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.materials.sizes import Size, at_most_one

# ISO 5636 reports from 0.01 um/(Pa s) up; open nets pass 1e6 um/(Pa s) (typical, from memory).
PERMEANCE_LIMITS = (1e-4, 1e6)

# What an instrument reads in um/(Pa s), from the area and the pressure that its standard lays down.
# Gurley: seconds for 100 ml through one square inch (6.45 cm2) at 1.22 kPa (TAPPI T 460, scope): 127.1/t. ISO 5636-5
# is quoted with 135.3/t (from memory; its text was not at hand), 6 % more than that geometry gives.
UM_PER_PA_S_TIMES_GURLEY_S = 1e6 * 100e-6 / (6.45e-4 * 1_220.0)
# Bendtsen: ml/min through 10 cm2 at 1.47 kPa (ISO 5636-3, from memory): 0.01134 a ml/min.
UM_PER_PA_S_OF_BENDTSEN = 1e6 * 1e-6 / 60.0 / (10e-4 * 1_470.0)
# Sheffield: units of 3348/400 ml/min at 1.5 psi (TAPPI T 547, scope), of its five orifices that of 19.1 mm, as ISO
# 5636-4 has it (from memory): 0.047 a unit. The scale of its glass tubes is linear only roughly: within a fifth.
SHEFFIELD_ORIFICE_MM = 19.1
SHEFFIELD_RANGE_PCT = 20.0
UM_PER_PA_S_OF_SHEFFIELD = (
    1e6 * 3_348.0 / 400.0 * 1e-6 / 60.0 / (math.pi / 4.0 * (1e-3 * SHEFFIELD_ORIFICE_MM) ** 2 * 10_342.0)
)
SHEFFIELD_SOURCE = "TAPPI T 547, scope: 0 to 3348 ml/min are 0 to 400 units, at 1.5 psi"

# ISO 9237 recommends 100 Pa for apparel fabrics and 200 Pa for industrial fabrics.
ISO_9237_PRESSURE_PA = 100.0

# Families through which air can pass; solid density from which their porosity is estimated: cellulose fibre
# (1500 kg/m3) and, for what is made of mixed or polymer fibre, about 1300 kg/m3 (typical, from memory).
SOLID_DENSITY_KG_M3 = {
    "paper": 1_500.0,
    "board": 1_500.0,
    "wood": 1_500.0,
    "textile": 1_400.0,
    "nonwoven": 1_200.0,
    "leather": 1_400.0,
    "foam": 1_200.0,
    "custom": 1_400.0,
}
POROSITY_LIMITS = (0.05, 0.98)
TORTUOSITY = 2.0


def permeance_of(spec: SheetSpec) -> tuple[Size | None, tuple[Assumption, ...]]:
    """Permeance in um/(Pa s) as the sheet gives it, with what had to be assumed: the test pressure of a textile; the
    orifice and the accuracy of Sheffield units."""
    pressure = ISO_9237_PRESSURE_PA if spec.test_pressure_pa is None else spec.test_pressure_pa
    forms: dict[str, Callable[[float], float]] = {
        "air_permeance_um_per_pa_s": lambda permeance: permeance,
        "gurley_s_per_100ml": lambda seconds: UM_PER_PA_S_TIMES_GURLEY_S / seconds,
        "bendtsen_ml_per_min": lambda flow: UM_PER_PA_S_OF_BENDTSEN * flow,
        "sheffield_units": lambda units: UM_PER_PA_S_OF_SHEFFIELD * units,
        "air_permeability_mm_per_s": lambda speed: 1_000.0 / pressure * speed,
    }
    field = at_most_one({name: getattr(spec, name) for name in forms}, subject="air permeance")
    if spec.test_pressure_pa is not None and spec.air_permeability_mm_per_s is None:
        raise QuestionError(
            code="missing-field",
            field="air_permeability_mm_per_s",
            detail="Enter the air permeability that the test pressure belongs to.",
            expected="an air permeability (ISO 9237)",
        )
    if field is None:
        return None, ()
    low, high = PERMEANCE_LIMITS
    permeance = forms[field](getattr(spec, field))
    if not low <= permeance <= high:
        raise QuestionError(
            code="out-of-range",
            field=field,
            detail=Filled("This comes to an air permeance of {permeance:.3g} µm/(Pa s).", permeance=permeance),
            expected=Filled("an air permeance of {low:g} to {high:g} µm/(Pa s)", low=low, high=high),
        )
    notes: tuple[Assumption, ...] = ()
    if field == "sheffield_units":
        values = {
            "permeance_um_per_pa_s": permeance,
            "low_um_per_pa_s": permeance * (1.0 - SHEFFIELD_RANGE_PCT / 100.0),
            "high_um_per_pa_s": permeance * (1.0 + SHEFFIELD_RANGE_PCT / 100.0),
            "orifice_mm": SHEFFIELD_ORIFICE_MM,
        }
        notes = (
            Assumption(
                code="sheffield-converted", field=field, value=permeance, values={**values}, source=SHEFFIELD_SOURCE
            ),
        )
    elif field == "air_permeability_mm_per_s" and spec.test_pressure_pa is None:
        notes = (
            Assumption(
                code="test-pressure-default",
                field="test_pressure_pa",
                value=pressure,
                values={"test_pressure_pa": pressure},
                source="ISO 9237, apparel fabrics",
            ),
        )
    return Size(value=permeance, field=field), notes


def with_pores(
    layer: SheetLayer, *, permeance_um_per_pa_s: float, field: str
) -> tuple[SheetLayer, tuple[Assumption, ...]]:
    """The layer with a pore space, by its density when the library gives none; QuestionError for a solid."""
    material = layer.material
    if material is None or material.porous is not None:
        return layer, ()
    if material.family not in SOLID_DENSITY_KG_M3:
        raise QuestionError(
            code="not-applicable",
            field=field,
            detail=Filled("Air does not pass through {material}.", material=material.name),
            expected="an open area of a perforated sheet, or a fibrous material",
        )
    low, high = POROSITY_LIMITS
    porosity = min(max(1 - layer.density_kg_m3 / SOLID_DENSITY_KG_M3[material.family], low), high)
    porous = Porous(
        porosity=porosity,
        tortuosity=TORTUOSITY,
        permeance_um_per_pa_s=Interval(
            low=permeance_um_per_pa_s, nominal=permeance_um_per_pa_s, high=permeance_um_per_pa_s
        ),
        thickness_um=layer.thickness_um,
        source=TYPICAL,
    )
    note = Assumption(
        code="porosity-estimated",
        field=field,
        value=porosity,
        values={"porosity_share": porosity, "tortuosity": TORTUOSITY},
        source=TYPICAL,
    )
    return replace(layer, material=replace(material, porous=porous)), (note,)


def typical_permeance(layers: tuple[SheetLayer, ...]) -> float | None:
    """Library permeance in um/(Pa s) of layers in series (flow resistances add); None when one of them is tight, or
    none is solid."""
    resistance = 0.0
    for layer in layers:
        if layer.kind == "air":
            continue
        material: Material | None = layer.material
        if material is None or material.porous is None:
            return None
        resistance += 1 / material.porous.permeance_at(layer.thickness_um)
    return 1 / resistance if resistance else None
