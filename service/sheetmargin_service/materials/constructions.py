"""Named constructions: layered sheets by the name under which they are sold."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from types import MappingProxyType
from typing import Literal

from sheetmargin.contract.fields import about
from sheetmargin.contract.job import Corrugated, Layer

from sheetmargin_service.errors import FieldError, Filled, QuestionError
from sheetmargin_service.materials.body import Body, combine, make_layer, size_of
from sheetmargin_service.materials.corrugated import corrugated_layers, load_flutes
from sheetmargin_service.materials.library import Library, load_sources, read_entries
from sheetmargin_service.materials.material import Named, TrappedAir
from sheetmargin_service.materials.names import NameIndex
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.tables import load_table

LabelState = Literal["present", "absent", "doubled"]


@dataclass(frozen=True, kw_only=True)
class AirCell:
    """A layer of still air inside a construction."""

    air_um: float = field(metadata=about(unit="um", ge=1, le=20_000))


@dataclass(frozen=True, kw_only=True)
class Construction(Named):
    """A named makeup: layers or a corrugated board, with what a relief or holes change."""

    layers: tuple[Layer | AirCell, ...] = ()
    corrugated: Corrugated | None = None
    label_layers: int = field(default=0, metadata=about(ge=0))
    open_area_pct: float = field(default=0.0, metadata=about(unit="%", ge=0, le=90))
    formation_pct: float | None = field(default=None, metadata=about(unit="%", ge=0, le=60))
    trapped_air: TrappedAir | None = None
    source: str

    def problems(self) -> list[str]:
        rules = {
            "either layers or corrugated": bool(self.layers) != bool(self.corrugated),
            "label_layers below the count of layers": self.label_layers < max(len(self.layers), 1),
            f"flutes of {', '.join(load_flutes())}": self.corrugated is None
            or {wall.flute for wall in self.corrugated.walls} <= set(load_flutes()),
        }
        return [*super().problems(), *(rule for rule, holds in rules.items() if not holds)]


@cache
def load_constructions() -> MappingProxyType[str, Construction]:
    """Every construction by id; FieldError when the table is wrong."""
    table = load_table(__package__, "data/constructions.toml")
    found = read_entries(Construction, table, file="constructions.toml", sources=load_sources())
    return MappingProxyType(dict(sorted(found.items())))


@cache
def construction_names() -> NameIndex:
    """Every name of every construction; FieldError when two share one."""
    try:
        return NameIndex({item.id: item.names for item in load_constructions().values()})
    except ValueError as error:
        raise FieldError(f"constructions.toml: {error}") from error


def resolve_construction(name: str) -> str:
    """The id of a construction's id, name or synonym; QuestionError with the nearest ids."""
    found = construction_names().resolve(name)
    if found is not None:
        return found
    raise QuestionError(
        code="unknown-construction",
        field="construction",
        detail=Filled("{name!r} is not a construction of the library.", name=name[:100]),
        expected=Filled("one of {names}", names=", ".join(load_constructions())),
        suggestions=construction_names().suggest(name),
    )


def constructed(name: str, label_state: LabelState | None, library: Library) -> Body:
    """The body of a named construction, its label present (default), absent or doubled on the liner."""
    construction = load_constructions()[resolve_construction(name)]
    layers = _layers(construction, library)
    notes: tuple[Assumption, ...] = ()
    if construction.corrugated is not None:
        layers, notes = corrugated_layers(construction.corrugated, library, prefix="construction/")
    layers, state_notes = _with_label_state(construction, layers, label_state)
    typical = Assumption(
        code="construction-typical",
        field="construction",
        value=construction.id,
        values={"construction": construction.id, "layers": len(layers)},
        source=construction.source,
    )
    body = combine(construction.id, layers, assumptions=(typical, *notes, *state_notes))
    return replace(
        body,
        open_area_pct=construction.open_area_pct,
        formation_pct=construction.formation_pct if construction.formation_pct is not None else body.formation_pct,
        trapped_air=construction.trapped_air or body.trapped_air,
    )


def _layers(construction: Construction, library: Library) -> tuple[SheetLayer, ...]:
    layers: list[SheetLayer] = []
    for spec in construction.layers:
        if isinstance(spec, AirCell):
            layers.append(SheetLayer(kind="air", material=None, thickness_um=spec.air_um, density_kg_m3=0.0))
            continue
        grammage, thickness = size_of(spec.grammage_gsm, "grammage"), size_of(spec.thickness_um, "thickness")
        layer, _ = make_layer(library.get(spec.material), grammage=grammage, thickness=thickness)
        layers.append(layer)
    return tuple(layers)


def _with_label_state(
    construction: Construction, layers: tuple[SheetLayer, ...], state: LabelState | None
) -> tuple[tuple[SheetLayer, ...], tuple[Assumption, ...]]:
    count = construction.label_layers
    if not count:
        if state is not None:
            raise QuestionError(
                code="not-applicable",
                field="label_state",
                also=("construction",),
                detail=Filled("{construction} has no label on a liner.", construction=construction.name),
                expected="label stock, or no state of the label",
            )
        return layers, ()
    match state:
        case None:
            note = Assumption(code="label-present", field="label_state", value="present", values={})
            return layers, (note,)
        case "present":
            return layers, ()
        case "absent":
            return layers[:-count], ()
        case "doubled":
            return layers + layers[-count:], ()
