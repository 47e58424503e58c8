"""Named constructions: layered sheets by the name under which they are sold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Literal

from sheetmargin.contract.job import Corrugated, Layer, Wall

from sheetmargin_service.errors import FieldError, QuestionError
from sheetmargin_service.materials.body import Body, combine, make_layer
from sheetmargin_service.materials.corrugated import FLUTE_NAMES, corrugated_layers
from sheetmargin_service.materials.entries import LANGUAGES, read_trapped_air
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.materials.names import NameIndex, spoken_names
from sheetmargin_service.materials.reading import Reader, load_sources
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.materials.sizes import Size
from sheetmargin_service.tables import load_table

LabelState = Literal["present", "absent", "doubled"]


@dataclass(frozen=True, kw_only=True)
class AirCell:
    """A layer of still air inside a construction."""

    thickness_um: float


@dataclass(frozen=True, kw_only=True)
class Construction:
    """A named makeup: layers or a corrugated board, with what a relief or holes change."""

    id: str
    name: dict[str, str]
    synonyms: dict[str, tuple[str, ...]]
    layers: tuple[Layer | AirCell, ...]
    corrugated: Corrugated | None
    label_layers: int
    open_area_pct: float
    formation_pct: float | None
    trapped_air: TrappedAir | None
    source: str


@cache
def load_constructions() -> MappingProxyType[str, Construction]:
    """Every construction by id; FieldError when the table is wrong."""
    sources = load_sources()
    return MappingProxyType(
        {
            construction_id: _read(
                construction_id, Reader(entry, where=f"constructions.toml: {construction_id}", sources=sources)
            )
            for construction_id, entry in sorted(load_table(__package__, "data/constructions.toml").items())
        }
    )


@cache
def construction_names() -> NameIndex:
    """Every name of every construction; FieldError when two share one."""
    try:
        return NameIndex({item.id: spoken_names(item.name, item.synonyms) for item in load_constructions().values()})
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
        detail=f"There is no construction {name[:100]!r}.",
        expected="an id, name or synonym of the constructions",
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
            layers.append(SheetLayer(kind="air", material=None, thickness_um=spec.thickness_um, density_kg_m3=0.0))
            continue
        size = {"grammage": spec.grammage_gsm, "thickness": spec.thickness_um}
        sizes = {key: Size(value=value, field=key) if value is not None else None for key, value in size.items()}
        layer, _ = make_layer(library.get(spec.material), grammage=sizes["grammage"], thickness=sizes["thickness"])
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
                detail=f"{construction.id} has no label on a liner.",
                expected="no label_state, or a label construction",
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
    raise QuestionError(
        code="unknown-value",
        field="label_state",
        detail=f"label_state {state!r} is not known.",
        expected="present, absent, doubled",
    )


def _read(construction_id: str, entry: Reader) -> Construction:
    names = entry.table("name")
    name = {language: names.text(language) for language in LANGUAGES}
    names.close()
    synonym_lists = entry.table("synonyms")
    synonyms = {language: synonym_lists.texts(language) for language in LANGUAGES}
    synonym_lists.close()
    source = entry.source()
    layers = tuple(_read_layer(layer) for layer in entry.tables("layers")) if "layers" in entry else ()
    corrugated = _read_corrugated(entry.table("corrugated")) if "corrugated" in entry else None
    if bool(layers) == bool(corrugated):
        raise entry.error("expected either layers or corrugated")
    label_layers = int(entry.number("label_layers", low=1, high=len(layers) - 1)) if "label_layers" in entry else 0
    construction = Construction(
        id=construction_id,
        name=name,
        synonyms=synonyms,
        layers=layers,
        corrugated=corrugated,
        label_layers=label_layers,
        open_area_pct=entry.number("open_area_pct", high=90.0) if "open_area_pct" in entry else 0.0,
        formation_pct=entry.number("formation_pct", high=60.0) if "formation_pct" in entry else None,
        trapped_air=read_trapped_air(entry.table("trapped_air")) if "trapped_air" in entry else None,
        source=source,
    )
    entry.close()
    return construction


def _read_layer(entry: Reader) -> Layer | AirCell:
    layer: Layer | AirCell
    if "air_um" in entry:
        layer = AirCell(thickness_um=entry.number("air_um", low=1.0, high=20_000.0))
    elif "grammage_gsm" in entry:
        layer = Layer(material=entry.text("material"), grammage_gsm=entry.number("grammage_gsm", low=0.1))
    else:
        layer = Layer(material=entry.text("material"), thickness_um=entry.number("thickness_um", low=0.01))
    entry.close()
    return layer


def _read_corrugated(entry: Reader) -> Corrugated:
    walls: list[Wall] = []
    for wall in entry.tables("walls"):
        letter = wall.text("flute")
        flute = next((name for name in FLUTE_NAMES if name == letter), None)
        if flute is None:
            raise wall.error(f"flute {letter!r} is none of {FLUTE_NAMES}")
        walls.append(Wall(flute=flute, medium_gsm=wall.number("medium_gsm", low=30.0)))
        wall.close()
    liners = entry.list_of_numbers("liners_gsm", low=30.0)
    entry.close()
    return Corrugated(liners_gsm=liners, walls=tuple(walls))
