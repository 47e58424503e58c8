"""A sheet resolved: everything the physics needs, nothing of how it was asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sheetmargin.contract.job import Contact, DoubleKind

from sheetmargin_service.materials.material import Interval, Material, TrappedAir

Scalar = str | int | float | bool | None
APPROXIMATIONS = frozenset({"corrugated-core", "grown-material"})
"""Codes of assumptions that stand for a build which no layer of this library can represent."""


@dataclass(frozen=True, kw_only=True)
class SheetLayer:
    """One homogeneous layer. `air` layers (flute cells, honeycomb cells) have no material."""

    kind: Literal["solid", "air"]
    material: Material | None
    thickness_um: float
    density_kg_m3: float


@dataclass(frozen=True, kw_only=True)
class Assumption:
    """A default or a fact that the caller did not give.

    `field` is the sheet's field it stands for, a relative pointer such as `layers/0/thickness_um` ('' for the sheet).
    """

    code: str
    field: str
    value: Scalar
    values: dict[str, Scalar]
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class Lap:
    """A place in a stream of shingled sheets: plies there where a double passes and where one is missing, and those of
    the place that a class is taught on."""

    double_plies: int
    fewer_plies: int | None
    taught_plies: int


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """One correct sheet as it passes the detector. Tolerances are half widths that hold 95 %.

    `layers` (from the emitter's side upwards), grammage, thickness and density belong to one ply; `plies` of them lie
    on each other. The density of a sheet with open area is that of its outline, its layers' that of the solid. `lap`:
    where its plies are those of several sheets that lie on one another in a stream. `blocks`: whether two cling,
    `gloss`: whether its faces mirror; None where nobody tells.
    """

    label: str | None
    material_id: str
    layers: tuple[SheetLayer, ...]
    plies: int
    grammage_gsm: float
    thickness_um: float
    density_kg_m3: float
    mass_tolerance_pct: float
    thickness_tolerance_pct: float
    formation_pct: float
    trapped_air: TrappedAir
    double_kind: DoubleKind
    contact: Contact
    overlap_mm: float | None
    permeance_um_per_pa_s: float | None
    open_area_fraction: float
    assumptions: tuple[Assumption, ...]
    blocks: bool | None = None
    gloss: bool | None = None
    lap: Lap | None = None

    def __hash__(self) -> int:
        """By what tells most sheets apart: what was assumed of one has values that cannot be hashed."""
        return hash((self.material_id, self.grammage_gsm, self.thickness_um, self.plies))

    @property
    def double_plies(self) -> int:
        """Plies that lie on one another where a double passes."""
        if self.lap is not None:
            return self.lap.double_plies
        return 2 * self.plies if self.double_kind == "another-piece" else self.plies + 1

    @property
    def fewer_plies(self) -> int | None:
        """Plies where one is missing; None where that is not asked: a whole piece comes or does not."""
        if self.lap is not None:
            return self.lap.fewer_plies
        return self.plies - 1 if self.double_kind == "one-ply-more" and self.plies > 1 else None

    @property
    def taught_plies(self) -> int:
        """Plies of what a class is taught on."""
        return self.plies if self.lap is None else self.lap.taught_plies

    @property
    def typical_permeance(self) -> Interval | None:
        """The permeance of a sheet that air passes where that of its grade was taken: of its first layer with pores.
        None where it was given."""
        if self.open_area_fraction > 0.0 or all(a.code != "permeance-typical" for a in self.assumptions):
            return None
        porous = (layer.material.porous for layer in self.layers if layer.material)
        return next((p.permeance_um_per_pa_s for p in porous if p is not None), None)

    @property
    def gritty(self) -> bool:
        """Whether one of its materials wears down what touches it."""
        return any(layer.material is not None and layer.material.gritty for layer in self.layers)

    @property
    def approximate(self) -> bool:
        """Whether its build is known by an approximation that only a trial can confirm."""
        return any(a.code in APPROXIMATIONS for a in self.assumptions)
