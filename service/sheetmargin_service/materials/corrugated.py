"""Corrugated board: liners bonded to fluted cores.

The approximation, stated in every answer that rests on it. The medium between two liners is a row of slanting struts,
and near 200 kHz sound crosses the board along the struts: an air cell alone would pass tens of dB less. So a wall is
one homogeneous core, transversely isotropic about the thickness, of the medium's mass spread over the flute's height.
Its upper bound of stiffness is that of straight struts, pin-jointed at the liners (Gibson and Ashby, Cellular Solids,
ch. 4, trusses); the bend of a real flute lowers it by a factor that is not known, so the interval is wide. A flute is
no shorter than the sound's wavelength, which no homogeneous core can represent: such a board wants a trial.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

from sheetmargin.contract.fields import about
from sheetmargin.contract.job import Corrugated

from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import Interval, Material, Sourced, TransverselyIsotropic, UsualThickness
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.tables import Where, build, load_table

SOURCE = "struts after Gibson and Ashby, Cellular Solids, ch. 4; knock-down by curvature typical, from memory"
# Share of the pin-jointed strut stiffness that a curved flute keeps: low, nominal, high.
KNOCK_DOWN = (0.1, 0.4, 1.0)
# c13 against the geometric mean of c11 and c33: 1 for a truss of one pair of struts, less once joints are stiff.
CROSS_COUPLING = 0.5
LOSS_FACTOR = (0.1, 0.25, 0.5)
SINE_POINTS = 64


@dataclass(frozen=True, kw_only=True)
class Flute:
    """One flute by its height (without liners) and pitch in mm."""

    height_mm: Interval = field(metadata=about(unit="mm", ge=0.1))
    pitch_mm: Interval = field(metadata=about(unit="mm", ge=0.1))

    @property
    def take_up(self) -> float:
        """Length of medium per length of board: the arc of a sine of this height and pitch over its pitch."""
        slope = math.pi * self.height_mm.nominal / self.pitch_mm.nominal
        steps = (2 * math.pi * step / SINE_POINTS for step in range(SINE_POINTS))
        return sum(math.hypot(1, slope * math.cos(phase)) for phase in steps) / SINE_POINTS


@cache
def load_flutes() -> dict[str, Flute]:
    """Every flute by its letter."""
    table = load_table(__package__, "data/flutes.toml")["flute"]
    return {name: build(Flute, flute, where=Where(f"flutes.toml: {name}")) for name, flute in table.items()}


def corrugated_layers(
    spec: Corrugated, library: Library, *, prefix: str
) -> tuple[tuple[SheetLayer, ...], tuple[Assumption, ...]]:
    """Liner, core, liner (core, liner ...) from the emitter's side, and the assumptions. `prefix` ends in a slash."""
    walls, liners = spec.walls, spec.liners_gsm
    if len(liners) != len(walls) + 1:
        raise QuestionError(
            code="contradiction",
            field=prefix + "liners_gsm",
            also=(prefix + "walls",),
            detail=Filled("{liners} liners do not close {walls} walls.", liners=len(liners), walls=len(walls)),
            expected=Filled("{liners} liners", liners=len(walls) + 1),
        )
    liner, medium = library.get("testliner"), library.get("fluting-medium")
    layers: list[SheetLayer] = []
    assumptions: list[Assumption] = []
    for index, gsm in enumerate(liners):
        density = liner.density_kg_m3.nominal
        layers.append(
            SheetLayer(kind="solid", material=liner, thickness_um=1_000 * gsm / density, density_kg_m3=density)
        )
        if index < len(walls):
            name = walls[index].flute
            flute = load_flutes()[name]
            layers.append(_core(name, flute, medium=medium, medium_gsm=walls[index].medium_gsm))
            assumptions.append(
                Assumption(
                    code="corrugated-core",
                    field=f"{prefix}walls/{index}/flute",
                    value=name,
                    values={
                        "flute": name,
                        "height_mm": flute.height_mm.nominal,
                        "pitch_mm": flute.pitch_mm.nominal,
                        "take_up": flute.take_up,
                    },
                    source=SOURCE,
                )
            )
    return tuple(layers), tuple(assumptions)


def flute_pitch_mm(assumptions: Sequence[Assumption]) -> float | None:
    """The longest pitch of a board's flutes in mm, by what was assumed of it; None of a sheet without flutes."""
    flutes = [load_flutes()[str(a.value)] for a in assumptions if a.code == "corrugated-core"]
    return max((flute.pitch_mm.nominal for flute in flutes), default=None)


def _core(name: str, flute: Flute, *, medium: Material, medium_gsm: float) -> SheetLayer:
    """The fluted medium as one homogeneous layer of the flute's height."""
    height_mm, pitch_mm = flute.height_mm.nominal, flute.pitch_mm.nominal
    density = flute.take_up * medium_gsm / height_mm
    solid = density / medium.density_kg_m3.nominal
    # Struts lean from the normal so as to advance half a pitch over the height.
    lean = math.atan2(pitch_mm / 2, height_mm)
    assert isinstance(medium.elastic, TransverselyIsotropic)
    struts = medium.elastic.c11_gpa
    bounds = [
        solid * modulus * share
        for modulus, share in zip((struts.low, struts.nominal, struts.high), KNOCK_DOWN, strict=True)
    ]

    def stiffness(factor: float) -> Interval:
        low, nominal, high = (bound * factor for bound in bounds)
        return Interval(low=low, nominal=nominal, high=high)

    along, across = math.cos(lean) ** 2, math.sin(lean) ** 2
    loss_low, loss, loss_high = LOSS_FACTOR
    core = Material(
        id=f"fluted-core-{name.lower()}",
        name={"en": f"{name} flute core", "de": f"Wellenkern {name}"},
        synonyms={},
        family="core",
        density_kg_m3=Sourced(low=density * 0.8, nominal=density, high=density * 1.2, source=SOURCE),
        elastic=TransverselyIsotropic(
            c11_gpa=stiffness(across**2),
            c13_gpa=stiffness(CROSS_COUPLING * along * across),
            c33_gpa=stiffness(along**2),
            c55_gpa=stiffness(along * across),
            source=SOURCE,
        ),
        loss_factor=Sourced(low=loss_low, nominal=loss, high=loss_high, source=SOURCE),
        mass=medium.mass,
        trapped_air=medium.trapped_air,
        thickness_um=UsualThickness(range=(300.0, 6_000.0), source=SOURCE),
        electrical=medium.electrical,
        optical=medium.optical,
    )
    return SheetLayer(kind="solid", material=core, thickness_um=1_000 * height_mm, density_kg_m3=density)
