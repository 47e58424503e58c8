"""What one ply of a sheet is made of: its layers, their spread and the air they trap."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from sheetmargin.contract.job import Custom, Layer

from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.custom import CUSTOM, custom_material
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import Interval, Material, TrappedAir
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.materials.sizes import Size

# A given density may lie outside the library's interval by its width, or by a tenth where the interval is narrow.
DENSITY_MARGIN = 0.1
# Outside its usual thickness a material is noted; outside by more than this factor it is another material.
THICKNESS_MARGIN = 2.0


@dataclass(frozen=True, kw_only=True)
class Body:
    """Layers of one ply from the emitter's side upwards, with what is known of them together."""

    material_id: str
    layers: tuple[SheetLayer, ...]
    mass_tolerance_pct: float
    formation_pct: float
    trapped_air: TrappedAir
    spread_source: str
    assumptions: tuple[Assumption, ...] = ()
    open_area_pct: float = 0.0


def find_material(
    name: str, custom: Custom | None, library: Library, *, prefix: str
) -> tuple[Material, tuple[Assumption, ...]]:
    """The material of an id, name or synonym, or the caller's own; QuestionError with the nearest names."""
    if name.strip().casefold() == CUSTOM:
        if custom is None:
            raise QuestionError(
                code="missing-field",
                field=prefix + "custom",
                detail="Enter the properties of the own material.",
                expected="custom: a density and elastic constants or wave speeds",
            )
        material, notes = custom_material(custom, prefix=prefix + "custom/")
        if custom.like is None:
            return material, notes
        other = library.get(_known(custom.like, library, field=prefix + "custom/like"))
        return replace(material, family=other.family, electrical=other.electrical, optical=other.optical), notes
    if custom is not None:
        raise QuestionError(
            code="conflicting-fields",
            field=prefix + "custom",
            also=(prefix + "material",),
            detail=Filled(
                "Give either the material {name!r} or your own properties (custom), not both.", name=name[:100]
            ),
            expected='"custom" as the material, or no properties of your own',
        )
    return library.get(_known(name, library, field=prefix + "material")), ()


def _known(name: str, library: Library, *, field: str) -> str:
    material_id = library.resolve(name)
    if material_id is None:
        raise QuestionError(
            code="unknown-material",
            field=field,
            detail=Filled("{name!r} is not a material of the library.", name=name[:100]),
            expected="a material of the library",
            suggestions=library.suggest(name),
        )
    return material_id


def make_layer(
    material: Material, *, grammage: Size | None, thickness: Size | None, solid_share: float = 1.0, prefix: str = ""
) -> tuple[SheetLayer, tuple[Assumption, ...]]:
    """A layer of a material from grammage, thickness or both. `solid_share` is 1 less the open area.

    What is missing follows from the library's density and is noted; both together give the density, which must be one
    that the material can have.
    """
    density = material.density_kg_m3
    if grammage is None and thickness is None:
        raise QuestionError(
            code="missing-field",
            field=prefix + "grammage_gsm",
            also=(prefix + "thickness_um",),
            detail=Filled("Enter a grammage or a thickness for {material}.", material=material.name),
            expected="a grammage or a thickness",
        )
    values = {
        "density_kg_m3": density.nominal,
        "density_low_kg_m3": density.low,
        "density_high_kg_m3": density.high,
    }
    if thickness is None:
        assert grammage is not None
        um = 1_000 * grammage.value / (density.nominal * solid_share)
        note = Assumption(
            code="thickness-from-density",
            field=prefix + "thickness_um",
            value=um,
            values={"thickness_um": um, **values},
            source=density.source,
        )
        return _solid(material, thickness_um=um, density_kg_m3=density.nominal), (note,)
    if grammage is None:
        gsm = thickness.value * density.nominal * solid_share / 1_000
        note = Assumption(
            code="grammage-from-density",
            field=prefix + "grammage_gsm",
            value=gsm,
            values={"grammage_gsm": gsm, **values},
            source=density.source,
        )
        return _solid(material, thickness_um=thickness.value, density_kg_m3=density.nominal), (note,)
    given = 1_000 * grammage.value / (thickness.value * solid_share)
    _check_density(material, given, grammage=grammage, thickness=thickness)
    notes: tuple[Assumption, ...] = ()
    if not density.low <= given <= density.high:
        notes = (
            Assumption(
                code="density-unusual",
                field=grammage.field,
                value=given,
                values={"given_kg_m3": given, **values},
                source=density.source,
            ),
        )
    return _solid(material, thickness_um=thickness.value, density_kg_m3=given), notes


def check_usual_thickness(
    material: Material, layer: SheetLayer, *, size: Size, is_thickness: bool
) -> tuple[Assumption, ...]:
    """A note when a sheet of a material is unusually thin or thick; QuestionError when it is that by far."""
    thin, thick = material.thickness_um.range
    if thin <= layer.thickness_um <= thick:
        return ()
    if not thin / THICKNESS_MARGIN <= layer.thickness_um <= thick * THICKNESS_MARGIN:
        density = material.density_kg_m3.nominal / 1_000
        span = Filled("{low:g} to {high:g} µm", low=thin, high=thick)
        masses = Filled("{low:.3g} to {high:.3g} g/m²", low=thin * density, high=thick * density)
        raise QuestionError(
            code="out-of-range",
            field=size.field,
            detail=Filled(
                "A thickness of {thickness:.10g} µm is far outside the usual for {material} ({low:g} to {high:g} µm).",
                thickness=float(f"{layer.thickness_um:.3g}"),
                material=material.name,
                low=thin,
                high=thick,
            ),
            expected=span if is_thickness else masses,
        )
    return (
        Assumption(
            code="thickness-unusual",
            field=size.field,
            value=layer.thickness_um,
            values={"thickness_um": layer.thickness_um, "low_um": thin, "high_um": thick},
            source=material.thickness_um.source,
        ),
    )


def layered(material_id: str, specs: tuple[Layer, ...], library: Library) -> Body:
    """The body of a list of layers, from the emitter's side upwards."""
    layers: list[SheetLayer] = []
    notes: list[Assumption] = []
    for index, spec in enumerate(specs):
        prefix = f"layers/{index}/"
        material, custom_notes = find_material(spec.material, spec.custom, library, prefix=prefix)
        grammage = size_of(spec.grammage_gsm, prefix + "grammage_gsm")
        thickness = size_of(spec.thickness_um, prefix + "thickness_um")
        layer, size_notes = make_layer(material, grammage=grammage, thickness=thickness, prefix=prefix)
        layers.append(layer)
        notes += [*custom_notes, *size_notes]
    return combine(material_id, tuple(layers), assumptions=tuple(notes))


def combine(material_id: str, layers: tuple[SheetLayer, ...], *, assumptions: tuple[Assumption, ...] = ()) -> Body:
    """A body of several layers: their spreads add as independent ones, weighed by mass.

    The air that two such sheets trap lies between the top of one and the bottom of the other: each percentile is the
    geometric mean of the two outer materials', the middle between them on the scale on which they are distributed.
    """
    solids = [(layer.material, grammage_of_layer(layer)) for layer in layers if layer.material is not None]
    total = sum(gsm for _, gsm in solids)
    outer = (solids[0][0], solids[-1][0])
    bottom, top = (material.trapped_air for material in outer)
    sources = sorted({bottom.source, top.source})
    return Body(
        material_id=material_id,
        layers=layers,
        mass_tolerance_pct=math.hypot(*(material.mass.tolerance_pct * gsm / total for material, gsm in solids)),
        formation_pct=math.hypot(*(material.mass.formation_pct * gsm / total for material, gsm in solids)),
        trapped_air=TrappedAir(
            p5_um=math.sqrt(bottom.p5_um * top.p5_um),
            p50_um=math.sqrt(bottom.p50_um * top.p50_um),
            p95_um=math.sqrt(bottom.p95_um * top.p95_um),
            loose_share=max(bottom.loose_share, top.loose_share),
            loose_max_um=max(bottom.loose_max_um, top.loose_max_um),
            source="; ".join(sources),
        ),
        spread_source="; ".join(sorted({material.mass.source for material, _ in solids})),
        assumptions=assumptions,
    )


def grammage_of_layer(layer: SheetLayer) -> float:
    """Mass per area in g/m2; that of an air layer counts as nothing."""
    return layer.thickness_um * layer.density_kg_m3 / 1_000 if layer.material is not None else 0.0


def _solid(material: Material, *, thickness_um: float, density_kg_m3: float) -> SheetLayer:
    return SheetLayer(kind="solid", material=material, thickness_um=thickness_um, density_kg_m3=density_kg_m3)


def size_of(value: float | None, field: str) -> Size | None:
    """The size that a field gives; None where it gives none."""
    return None if value is None else Size(value=value, field=field)


def _check_density(material: Material, given: float, *, grammage: Size, thickness: Size) -> None:
    low, high = _possible(material.density_kg_m3)
    if not low <= given <= high:
        raise QuestionError(
            code="contradiction",
            field=grammage.field,
            also=(thickness.field,),
            detail=Filled(
                "Grammage and thickness give a density of {given:.4g} kg/m³, impossible for {material}.",
                given=given,
                material=material.name,
            ),
            expected=Filled("a density of {low:.4g} to {high:.4g} kg/m³, or only one of the two", low=low, high=high),
        )


def _possible(density: Interval) -> tuple[float, float]:
    margin = max(density.high - density.low, DENSITY_MARGIN * density.nominal)
    return max(density.low - margin, density.low / 3), density.high + margin
