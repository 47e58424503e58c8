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
from dataclasses import dataclass
from functools import cache
from typing import Literal

from sheetmargin.contract.job import Corrugated, Wall

from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.checks import in_range, known
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import Interval, Material, TransverselyIsotropic
from sheetmargin_service.materials.reading import Reader
from sheetmargin_service.materials.sheet import Assumption, SheetLayer
from sheetmargin_service.tables import load_table

FLUTE_NAMES: tuple[Literal["A", "B", "C", "E", "F", "N"], ...] = ("A", "B", "C", "E", "F", "N")
MAX_WALLS = 3
LIMITS_GSM = (30.0, 1_000.0)
SOURCE = "struts after Gibson and Ashby, Cellular Solids, ch. 4; knock-down by curvature typical, from memory"
# Share of the pin-jointed strut stiffness that a curved flute keeps: low, nominal, high.
KNOCK_DOWN = (0.1, 0.4, 1.0)
# c13 against the geometric mean of c11 and c33: 1 for a truss of one pair of struts, less once joints are stiff.
CROSS_COUPLING = 0.5
LOSS_FACTOR = (0.1, 0.25, 0.5)
SINE_POINTS = 64


@dataclass(frozen=True, kw_only=True)
class Flute:
    """One flute by its nominal height (without liners) and pitch."""

    name: str
    height_mm: float
    pitch_mm: float

    @property
    def take_up(self) -> float:
        """Length of medium per length of board: the arc of a sine of this height and pitch over its pitch."""
        slope = math.pi * self.height_mm / self.pitch_mm
        steps = (2 * math.pi * step / SINE_POINTS for step in range(SINE_POINTS))
        return sum(math.hypot(1, slope * math.cos(phase)) for phase in steps) / SINE_POINTS


@cache
def load_flutes() -> dict[str, Flute]:
    """Every flute by its letter."""
    reader = Reader(load_table(__package__, "data/flutes.toml"), where="flutes.toml", sources={})
    reader.text("source")
    flutes: dict[str, Flute] = {}
    for name in FLUTE_NAMES:
        entry = reader.table(name)
        flutes[name] = Flute(
            name=name,
            height_mm=entry.numbers("height_mm", count=3, low=0.1)[1],
            pitch_mm=entry.numbers("pitch_mm", count=3, low=0.1)[1],
        )
        entry.close()
    reader.close()
    return flutes


def corrugated_layers(
    spec: Corrugated, library: Library, *, prefix: str
) -> tuple[tuple[SheetLayer, ...], tuple[Assumption, ...]]:
    """Liner, core, liner (core, liner ...) from the emitter's side, and the assumptions. `prefix` ends in a slash."""
    walls, liners = spec.walls, spec.liners_gsm
    if not 1 <= len(walls) <= MAX_WALLS:
        raise QuestionError(
            code="out-of-range",
            field=prefix + "walls",
            detail=f"The board has {len(walls)} walls.",
            expected=f"1 to {MAX_WALLS} walls",
        )
    if len(liners) != len(walls) + 1:
        raise QuestionError(
            code="contradiction",
            field=prefix + "liners_gsm",
            also=(prefix + "walls",),
            detail=f"{len(liners)} liners do not close {len(walls)} walls.",
            expected=f"{len(walls) + 1} liners",
        )
    low, high = LIMITS_GSM
    liner, medium = library.get("testliner"), library.get("fluting-medium")
    layers: list[SheetLayer] = []
    assumptions: list[Assumption] = []
    for index, grammage in enumerate(liners):
        gsm = in_range(grammage, field=f"{prefix}liners_gsm/{index}", low=low, high=high, unit="g/m2")
        density = liner.density_kg_m3.nominal
        layers.append(
            SheetLayer(kind="solid", material=liner, thickness_um=1_000 * gsm / density, density_kg_m3=density)
        )
        if index < len(walls):
            where = f"{prefix}walls/{index}/"
            flute = _flute(walls[index], where=where)
            gsm = in_range(walls[index].medium_gsm, field=where + "medium_gsm", low=low, high=high, unit="g/m2")
            layers.append(_core(flute, medium=medium, medium_gsm=gsm))
            assumptions.append(
                Assumption(
                    code="corrugated-core",
                    field=where + "flute",
                    value=flute.name,
                    values={
                        "flute": flute.name,
                        "height_mm": flute.height_mm,
                        "pitch_mm": flute.pitch_mm,
                        "take_up": flute.take_up,
                    },
                    source=SOURCE,
                )
            )
    return tuple(layers), tuple(assumptions)


def _flute(wall: Wall, *, where: str) -> Flute:
    flutes = load_flutes()
    return flutes[known(wall.flute, field=where + "flute", allowed=tuple(flutes))]


def _core(flute: Flute, *, medium: Material, medium_gsm: float) -> SheetLayer:
    """The fluted medium as one homogeneous layer of the flute's height."""
    density = flute.take_up * medium_gsm / flute.height_mm
    solid = density / medium.density_kg_m3.nominal
    # Struts lean from the normal so as to advance half a pitch over the height.
    lean = math.atan2(flute.pitch_mm / 2, flute.height_mm)
    assert isinstance(medium.elastic, TransverselyIsotropic)
    struts = medium.elastic.c11_gpa
    bounds = [
        solid * modulus * share
        for modulus, share in zip((struts.low, struts.nominal, struts.high), KNOCK_DOWN, strict=True)
    ]

    def stiffness(factor: float) -> Interval:
        low, nominal, high = (bound * factor for bound in bounds)
        return Interval(low=low, nominal=nominal, high=high, source=SOURCE)

    along, across = math.cos(lean) ** 2, math.sin(lean) ** 2
    loss_low, loss, loss_high = LOSS_FACTOR
    core = Material(
        id=f"fluted-core-{flute.name.lower()}",
        name={"en": f"{flute.name} flute core", "de": f"Wellenkern {flute.name}"},
        synonyms={},
        family="core",
        density_kg_m3=Interval(low=density * 0.8, nominal=density, high=density * 1.2, source=SOURCE),
        elastic=TransverselyIsotropic(
            c11_gpa=stiffness(across**2),
            c13_gpa=stiffness(CROSS_COUPLING * along * across),
            c33_gpa=stiffness(along**2),
            c55_gpa=stiffness(along * across),
        ),
        loss_factor=Interval(low=loss_low, nominal=loss, high=loss_high, source=SOURCE),
        mass_tolerance_pct=medium.mass_tolerance_pct,
        formation_pct=medium.formation_pct,
        mass_source=medium.mass_source,
        trapped_air=medium.trapped_air,
        thickness_range_um=(300.0, 6_000.0),
        thickness_source=SOURCE,
        sources=(SOURCE,),
        electrical=medium.electrical,
        optical=medium.optical,
    )
    return SheetLayer(kind="solid", material=core, thickness_um=1_000 * flute.height_mm, density_kg_m3=density)
