"""Air permeance of a sheet in its three forms, and the pore space it implies."""

from __future__ import annotations

from dataclasses import replace

from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.checks import at_most_one, in_range
from sheetmargin_service.materials.custom import GIVEN, TYPICAL
from sheetmargin_service.materials.material import Interval, Material, Porous
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.materials.sizes import Size

# ISO 5636 reports from 0.01 um/(Pa s) up; open nets pass 1e6 um/(Pa s) (typical, from memory).
PERMEANCE_LIMITS = (1e-4, 1e6)

# Gurley instrument: seconds for 100 ml through one square inch (6.45 cm2) at 1.22 kPa (TAPPI T 460, scope).
GURLEY_VOLUME_M3 = 100e-6
GURLEY_AREA_M2 = 6.45e-4
GURLEY_PRESSURE_PA = 1_220.0
UM_PER_PA_S_TIMES_GURLEY_S = 1e6 * GURLEY_VOLUME_M3 / (GURLEY_AREA_M2 * GURLEY_PRESSURE_PA)

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
    """Permeance in um/(Pa s) as the sheet gives it, and the test pressure when it had to be assumed."""
    field = at_most_one(
        {
            "air_permeance_um_per_pa_s": spec.air_permeance_um_per_pa_s,
            "gurley_s_per_100ml": spec.gurley_s_per_100ml,
            "air_permeability_mm_per_s": spec.air_permeability_mm_per_s,
        },
        subject="air permeance",
    )
    if spec.test_pressure_pa is not None and spec.air_permeability_mm_per_s is None:
        raise QuestionError(
            code="missing-field",
            field="air_permeability_mm_per_s",
            detail="A test pressure is given without the air permeability it belongs to.",
            expected="air_permeability_mm_per_s with test_pressure_pa",
        )
    low, high = PERMEANCE_LIMITS
    if spec.air_permeance_um_per_pa_s is not None:
        name = "air_permeance_um_per_pa_s"
        value = in_range(spec.air_permeance_um_per_pa_s, field=name, low=low, high=high, unit="um/(Pa s)")
        return Size(value=value, field=name), ()
    if spec.gurley_s_per_100ml is not None:
        name, factor = "gurley_s_per_100ml", UM_PER_PA_S_TIMES_GURLEY_S
        value = in_range(spec.gurley_s_per_100ml, field=name, low=factor / high, high=factor / low, unit="s")
        return Size(value=factor / value, field=name), ()
    if spec.air_permeability_mm_per_s is None:
        return None, ()
    assert field is not None
    assumptions: tuple[Assumption, ...] = ()
    pressure = ISO_9237_PRESSURE_PA
    if spec.test_pressure_pa is not None:
        pressure = in_range(spec.test_pressure_pa, field="test_pressure_pa", low=1, high=5_000, unit="Pa")
    else:
        assumptions = (
            Assumption(
                code="test-pressure-default",
                field="test_pressure_pa",
                value=pressure,
                values={"test_pressure_pa": pressure},
                source="ISO 9237, apparel fabrics",
            ),
        )
    factor = 1_000.0 / pressure
    speed = in_range(spec.air_permeability_mm_per_s, field=field, low=low / factor, high=high / factor, unit="mm/s")
    return Size(value=speed * factor, field=field), assumptions


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
            detail=f"{material.id} has no pores that air passes.",
            expected="open_area_pct for a perforated sheet, or a fibrous material",
        )
    low, high = POROSITY_LIMITS
    porosity = min(max(1 - layer.density_kg_m3 / SOLID_DENSITY_KG_M3[material.family], low), high)
    porous = Porous(
        porosity=porosity,
        tortuosity=TORTUOSITY,
        permeance=Interval(
            low=permeance_um_per_pa_s, nominal=permeance_um_per_pa_s, high=permeance_um_per_pa_s, source=GIVEN
        ),
        thickness_um=layer.thickness_um,
        source=TYPICAL,
    )
    note = Assumption(
        code="porosity-estimated",
        field=field,
        value=porosity,
        values={"porosity": porosity, "tortuosity": TORTUOSITY},
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
