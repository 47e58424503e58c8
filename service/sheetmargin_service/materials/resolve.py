"""From a sheet as it is asked for to the sheet that the physics takes."""

from __future__ import annotations

from dataclasses import replace

from sheetmargin.contract.job import Contact
from sheetmargin.contract.job import Sheet as SheetSpec

from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.body import (
    Body,
    check_usual_thickness,
    combine,
    find_material,
    grammage_of_layer,
    layered,
    make_layer,
)
from sheetmargin_service.materials.constructions import constructed, construction_names, resolve_construction
from sheetmargin_service.materials.corrugated import corrugated_layers, flute_pitch_mm
from sheetmargin_service.materials.custom import CUSTOM, GIVEN
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.materials.permeance import permeance_of, typical_permeance, with_pores
from sheetmargin_service.materials.sheet import Assumption, Scalar, Sheet
from sheetmargin_service.materials.sizes import (
    GRAMMAGE_LIMITS_GSM,
    THICKNESS_LIMITS_UM,
    at_most_one,
    grammage_of,
    thickness_of,
)

MAX_PLIES = 100
ROUGH_FAMILIES = ("paper", "board")
ROUGH_SHARE = 0.5
"""Least air between two faces of paper or board as a share of `p5_um`: 1.5 um of gloss coated paper, 4 um of copy
paper. Faces that touch are held apart by about the sum of their roughness, which ISO 8791-4 (Parker Print-Surf) finds
to be 0.7 to 1.2 um of one gloss coated face and 5 to 7 um of an uncoated one (typical, from memory)."""
SIZE_FIELDS = (
    "grammage_gsm",
    "basis_weight_lb",
    "basis",
    "thickness_um",
    "caliper_pt",
    "thickness_in",
    "sheet_gauge",
)


def resolve_sheet(spec: SheetSpec, library: Library) -> Sheet:
    """The sheet of a spec, every default filled from the library and noted; QuestionError for what cannot be.

    Grammage, thickness and layers of the result are those of one ply.
    """
    body = _body(spec, library)
    if spec.flute_direction is not None and flute_pitch_mm(body.assumptions) is None:
        raise QuestionError(
            code="not-applicable",
            field="flute_direction",
            detail="Only corrugated board has flutes.",
            expected="a corrugated board",
        )
    grammage = sum(grammage_of_layer(layer) for layer in body.layers) * (1 - body.open_area_pct / 100)
    thickness = sum(layer.thickness_um for layer in body.layers)
    _check_total(spec, grammage_gsm=grammage, thickness_um=thickness)
    mass_pct, thickness_pct, tolerance_notes = _tolerances(spec, body)
    body, permeance, permeance_notes = _permeance(spec, body)
    return Sheet(
        label=spec.label,
        material_id=body.material_id,
        layers=body.layers,
        plies=spec.plies,
        grammage_gsm=grammage,
        thickness_um=thickness,
        density_kg_m3=1_000 * grammage / thickness,
        mass_tolerance_pct=mass_pct,
        thickness_tolerance_pct=thickness_pct,
        formation_pct=body.formation_pct,
        trapped_air=_held_apart(body),
        double_kind=spec.double.kind,
        contact=_contact(spec),
        blocks=_blocks(spec),
        gloss=spec.surface.gloss,
        overlap_mm=spec.double.overlap_mm,
        permeance_um_per_pa_s=permeance,
        open_area_fraction=body.open_area_pct / 100,
        assumptions=(
            *body.assumptions,
            *_grown_notes(body),
            *tolerance_notes,
            *permeance_notes,
            *_trapped_air_notes(body),
            *_double_notes(spec),
        ),
    )


def _grown_notes(body: Body) -> tuple[Assumption, ...]:
    """That a material of the sheet is grown: what is computed of it leaves out its knots, grain and scars."""
    grown = sorted({layer.material.id for layer in body.layers if layer.material is not None and layer.material.grown})
    return tuple(
        Assumption(
            code="grown-material",
            field="",
            value=material,
            values={"material": material},
            source="a choice of this service",
        )
        for material in grown
    )


def canonical_spec(spec: SheetSpec, library: Library) -> SheetSpec:
    """The spec with every name and synonym replaced by its id; QuestionError for a name that is unknown."""
    material = spec.material
    if material is not None:
        material = _material_id(material, library, prefix="")
    layers = spec.layers
    if layers is not None:
        layers = tuple(
            replace(layer, material=_material_id(layer.material, library, prefix=f"layers/{index}/"))
            for index, layer in enumerate(layers)
        )
    construction = spec.construction
    if construction is not None:
        construction = resolve_construction(construction)
    return replace(spec, material=material, layers=layers, construction=construction)


def _material_id(name: str, library: Library, *, prefix: str) -> str:
    if name.strip().casefold() == CUSTOM:
        return CUSTOM
    material, _ = find_material(name, None, library, prefix=prefix)
    return material.id


def _body(spec: SheetSpec, library: Library) -> Body:
    kind = at_most_one(
        {
            "material": spec.material,
            "layers": spec.layers,
            "corrugated": spec.corrugated,
            "construction": spec.construction,
        },
        subject="material",
    )
    if spec.label_state is not None and kind != "construction":
        raise QuestionError(
            code="not-applicable",
            field="label_state",
            detail="Only label stock has a state of the label.",
            expected="a construction of label stock",
        )
    if kind == "material":
        assert spec.material is not None
        return _plain(spec, spec.material, library)
    given = [field for field in SIZE_FIELDS if getattr(spec, field) is not None]
    if kind is not None and given:
        raise QuestionError(
            code="conflicting-fields",
            field=given[0],
            also=(*given[1:], kind),
            detail="Give sizes in the layers: this sheet has several.",
            expected="the sizes of the layers",
        )
    if kind is not None and spec.custom is not None:
        raise QuestionError(
            code="conflicting-fields",
            field="custom",
            also=(kind,),
            detail="Give the own material inside its layer: this sheet has several.",
            expected="custom inside its layer",
        )
    if spec.construction is not None:
        body = constructed(spec.construction, spec.label_state, library)
    elif spec.corrugated is not None:
        layers, notes = corrugated_layers(spec.corrugated, library, prefix="corrugated/")
        body = combine("corrugated", layers, assumptions=notes)
    elif spec.layers is not None:
        body = layered("layers", tuple(spec.layers), library)
    else:
        raise QuestionError(
            code="missing-field",
            field="material",
            detail="Enter a material.",
            expected="one of material, layers, corrugated, construction",
        )
    if spec.open_area_pct is not None:
        body = replace(body, open_area_pct=spec.open_area_pct)
    return body


def _plain(spec: SheetSpec, name: str, library: Library) -> Body:
    construction = construction_names().resolve(name)
    if library.resolve(name) is None and construction is not None:
        raise QuestionError(
            code="unknown-material",
            field="material",
            detail=Filled("{name!r} is a construction of several layers, not a material.", name=name[:100]),
            expected=Filled("construction {construction!r} instead of a material", construction=construction),
            suggestions=(construction,),
        )
    material, custom_notes = find_material(name, spec.custom, library, prefix="")
    open_area = spec.open_area_pct or 0.0
    grammage, thickness = grammage_of(spec), thickness_of(spec, material)
    layer, size_notes = make_layer(material, grammage=grammage, thickness=thickness, solid_share=1 - open_area / 100)
    size = thickness or grammage
    assert size is not None
    range_notes = check_usual_thickness(material, layer, size=size, is_thickness=size is thickness)
    elastic = Assumption(
        code="material-typical",
        field="material",
        value=material.id,
        values={
            "loss_factor": material.loss_factor.nominal,
            "loss_factor_low": material.loss_factor.low,
            "loss_factor_high": material.loss_factor.high,
        },
        source="; ".join(material.sources),
    )
    notes = (*custom_notes, *size_notes, *range_notes)
    return Body(
        material_id=material.id,
        layers=(layer,),
        mass_tolerance_pct=material.mass.tolerance_pct,
        formation_pct=material.mass.formation_pct,
        trapped_air=material.trapped_air,
        spread_source=material.mass.source,
        assumptions=notes if material.id == CUSTOM else (elastic, *notes),
        open_area_pct=open_area,
    )


def _check_total(spec: SheetSpec, *, grammage_gsm: float, thickness_um: float) -> None:
    """The widest limits of any sheet, for totals that no single field gave."""
    thickest = THICKNESS_LIMITS_UM[1]
    if thickness_um <= thickest < thickness_um * spec.plies:
        raise QuestionError(
            code="out-of-range",
            field="plies",
            detail=Filled(
                "{plies} plies come to {thickness:.4g} µm.",
                plies=spec.plies,
                thickness=float(thickness_um * spec.plies),
            ),
            expected=Filled("up to {most:g} µm in all", most=thickest),
        )
    field = next((name for name in ("material", "layers", "corrugated") if getattr(spec, name)), "construction")
    for value, (low, high), unit in (
        (thickness_um, THICKNESS_LIMITS_UM, "µm"),
        (grammage_gsm, GRAMMAGE_LIMITS_GSM, "g/m²"),
    ):
        if not low <= value <= high:
            raise QuestionError(
                code="out-of-range",
                field=field,
                detail=Filled("The sheet comes to {value:.4g} {unit}.", value=value, unit=unit),
                expected=Filled("{low:g} to {high:g} {unit}", low=low, high=high, unit=unit),
            )


def _tolerances(spec: SheetSpec, body: Body) -> tuple[float, float, tuple[Assumption, ...]]:
    """Mass and thickness tolerance in per cent. One given stands for both, as at a steady density they are the same."""
    tolerances = {
        "grammage_tolerance_pct": spec.grammage_tolerance_pct,
        "thickness_tolerance_pct": spec.thickness_tolerance_pct,
    }
    given = {field: value for field, value in tolerances.items() if value is not None}
    notes: list[Assumption] = []

    def taken(field: str, other: str) -> float:
        if field in given:
            return given[field]
        if other in given:
            code, value, source = "tolerance-from-other", given[other], other
        elif body.spread_source == GIVEN:
            return body.mass_tolerance_pct
        else:
            code, value, source = "tolerance-typical", body.mass_tolerance_pct, body.spread_source
        notes.append(Assumption(code=code, field=field, value=value, values={"tolerance_pct": value}, source=source))
        return value

    mass = taken("grammage_tolerance_pct", "thickness_tolerance_pct")
    thickness = taken("thickness_tolerance_pct", "grammage_tolerance_pct")
    return mass, thickness, tuple(notes)


def _held_apart(body: Body) -> TrappedAir:
    """The air between two sheets, and how near they come: the fibres and pigments of two faces hold them apart."""
    faces = (body.layers[0].material, body.layers[-1].material)
    rough = all(material is not None and material.family in ROUGH_FAMILIES for material in faces)
    air = body.trapped_air
    return replace(air, least_um=ROUGH_SHARE * air.p5_um) if rough and air.source != GIVEN else air


def _trapped_air_notes(body: Body) -> tuple[Assumption, ...]:
    air = body.trapped_air
    if air.source == GIVEN:
        return ()
    values: dict[str, Scalar] = {
        "p5_um": air.p5_um,
        "p50_um": air.p50_um,
        "p95_um": air.p95_um,
        "loose_share": air.loose_share,
        "loose_max_um": air.loose_max_um,
    }
    return (Assumption(code="trapped-air-typical", field="double", value=air.p50_um, values=values, source=air.source),)


def _double_notes(spec: SheetSpec) -> tuple[Assumption, ...]:
    """That a double of several plies is another piece of as many, where it is."""
    kind = spec.double.kind
    if spec.plies == 1 or kind != "another-piece":
        return ()
    values: dict[str, Scalar] = {"plies": spec.plies, "double_plies": 2 * spec.plies}
    return (Assumption(code="double-is-another-piece", field="double/kind", value=kind, values=values),)


def _permeance(spec: SheetSpec, body: Body) -> tuple[Body, float | None, tuple[Assumption, ...]]:
    """The permeance given or typical, in um/(Pa s), and the body with the pore space it needs."""
    size, notes = permeance_of(spec)
    if size is None:
        typical = typical_permeance(body.layers)
        if typical is None:
            return body, None, notes
        note = Assumption(
            code="permeance-typical",
            field="air_permeance_um_per_pa_s",
            value=typical,
            values={"permeance_um_per_pa_s": typical},
            source="; ".join(
                sorted(
                    {layer.material.porous.source for layer in body.layers if layer.material and layer.material.porous}
                )
            ),
        )
        return body, typical, (*notes, note)
    if body.open_area_pct:
        raise QuestionError(
            code="conflicting-fields",
            field=size.field,
            also=("open_area_pct",),
            detail="Give either the air permeance or the open area, not both.",
            expected="one of the two",
        )
    layers = []
    for layer in body.layers:
        porous, pore_notes = with_pores(layer, permeance_um_per_pa_s=size.value, field=size.field)
        layers.append(porous)
        notes = (*notes, *pore_notes)
    return replace(body, layers=tuple(layers)), size.value, notes


def _contact(spec: SheetSpec) -> Contact:
    """What lies between two sheets: oil joins them for sound as water does, both liquids of about its impedance."""
    return "water-film" if spec.surface.oiled and spec.double.contact == "air" else spec.double.contact


def _blocks(spec: SheetSpec) -> bool | None:
    """Whether two cling: an interleaf keeps them apart."""
    return False if spec.surface.interleaf else spec.surface.blocks
