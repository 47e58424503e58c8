"""From a sheet to its plane-wave reflection and transmission, for several cases of what is not known at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.fluid import FluidLayer, air_layer
from sheetmargin_service.acoustics.layered import Stack, stack_response
from sheetmargin_service.acoustics.operators import displaced_air
from sheetmargin_service.acoustics.plate import ElasticPlate, plate_response
from sheetmargin_service.acoustics.porous import PorousSheet, porous_response
from sheetmargin_service.acoustics.response import Response, StackResponse, part_of
from sheetmargin_service.acoustics.trapped_air import (
    Film,
    double_halves,
    double_response,
    double_transmission,
    film_response,
    flat_film,
)
from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import Z95
from sheetmargin_service.materials.permeance import typical_permeance
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import ENDS, NOMINAL, Variant, elastic_constants
from sheetmargin_service.principles.draws import drawn
from sheetmargin_service.principles.lots import lot_of

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]
AnyResponse = Response | StackResponse
Layer = ElasticPlate | PorousSheet | FluidLayer
Number = TypeVar("Number", np.float64, np.complex128)

STIFFNESSES = ("stiffness", "stiffness-2", "stiffness-3")
"""What is drawn for the moduli of a sheet's groups of layers."""
LOSSY = 0.05
"""Loss factor, at the low end of what is believed, from which a material is lossy."""
LEAST_DENSITY_DEVIATION = 0.005
"""Relative standard deviation of a density below which it is as good as known."""
MASS_STEP = 0.02
"""Relative step of mass by which slopes are taken: a usual standard deviation, the same whatever a sheet's tolerance,
so that a wider one never makes a level move less."""
DRAWS = 32
"""Piles of plies that are computed, each with films of its own."""
WATER_M = np.array([3e-6, 15e-6, 60e-6])
"""Films of water between two wet sheets: blotted, wet, running (typical, from memory)."""
HOLE_RADIUS_M = 0.5e-3
"""Radius of the holes of a perforated sheet (typical, from memory; at ultrasonic frequencies it hardly matters)."""
WATER_DENSITY_KG_M3 = 998.0
WATER_SPEED_M_PER_S = 1482.0
"""Water at 20 degrees C: CRC Handbook of Chemistry and Physics."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One sheet that has a response of its own: a variant of the library's numbers, by its groups of layers (see
    `layer_groups`; one alone is that of all), and factors of its mass, of its density at the same mass, and of its
    permeance."""

    variants: tuple[Variant, ...] = (NOMINAL,)
    mass_factor: float = 1.0
    density_factor: float = 1.0
    permeance_factor: float = 1.0


def first_order_cases(sheet: Sheet) -> tuple[Case, ...]:
    """The nominal sheet, then both ends of each of its `wave_unknowns` in turn."""
    return (Case(), *(case for ends in wave_unknowns(sheet).values() for case in ends))


def wave_unknowns(sheet: Sheet) -> Mapping[str, tuple[Case, Case]]:
    """What is not known of a stock and changes its waves, by the names of `principles.draws` (`thickness` stands for
    density at the same mass), each at both ends of what is believed."""
    groups = len(layer_groups(sheet))
    ends = {name: _ends_of_group(group, groups) for group, name in enumerate(STIFFNESSES[:groups])}
    low, high = (Case(variants=(variant,)) for variant in ENDS["loss"])
    ends["loss"] = low, high
    ends["mass"] = Case(mass_factor=1.0 - MASS_STEP), Case(mass_factor=1.0 + MASS_STEP)
    density = float(np.hypot(*lot_of(sheet).density))
    if density > LEAST_DENSITY_DEVIATION:
        light, dense = np.exp([-Z95 * density, Z95 * density]).tolist()
        ends["thickness"] = Case(density_factor=light), Case(density_factor=dense)
    pores = sheet.typical_permeance
    if pores is not None:
        low, high = (Case(permeance_factor=end / pores.nominal) for end in (pores.low, pores.high))
        ends["permeance"] = low, high
    return ends


def _ends_of_group(group: int, groups: int) -> tuple[Case, Case]:
    others = [NOMINAL] * groups
    low, high = (Case(variants=(*others[:group], end, *others[group + 1 :])) for end in ENDS["stiffness"])
    return low, high


def drawn_cases(sheet: Sheet) -> tuple[Case, ...]:
    """The sheet as it is in each draw."""
    groups = STIFFNESSES[: len(layer_groups(sheet))]
    lot, pores = lot_of(sheet), sheet.typical_permeance
    moves = (row[0] * drawn("mass") + row[1] * drawn("thickness") for row in (lot.mass, lot.density))
    mass, density = map(np.exp, moves)  # What is never below nothing is log-normal: foams come in any density.
    permeance = np.ones_like(mass)
    if pores is not None:
        z = drawn("permeance")
        permeance = np.where(z < 0.0, pores.low, pores.high) / pores.nominal
        permeance = permeance ** (np.abs(z) / Z95)
    stiffness = np.stack([drawn(name) for name in groups], axis=1).tolist()
    each = zip(stiffness, drawn("loss").tolist(), mass.tolist(), density.tolist(), permeance.tolist(), strict=True)
    return tuple(
        Case(
            variants=tuple(Variant(stiffness=z, loss=loss) for z in stiff),
            mass_factor=heavy,
            density_factor=dense,
            permeance_factor=open_,
        )
        for stiff, loss, heavy, dense, open_ in each
    )


def lossy(sheet: Sheet) -> bool:
    """Whether all of a sheet's solid layers lose enough for no wave in them to run backward near the path of
    integration: so it is for papers, boards and fabrics (looked for in sheets of every material, 0.1 mm to the thickest
    it comes in, 120 to 500 kHz)."""
    solid = [layer.material for layer in sheet.layers if layer.material is not None]
    return all(m.loss_factor.low >= LOSSY and m.family != "core" for m in solid)


def layer_groups(sheet: Sheet) -> tuple[frozenset[int], ...]:
    """Layers whose moduli are drawn together: those of one material, as they come of one stock. From the third group on
    all are one."""
    groups: dict[str, set[int]] = {}
    for place, layer in enumerate(sheet.layers):
        if layer.material is not None:
            full = len(groups) == len(STIFFNESSES) and layer.material.id not in groups
            name = list(groups)[-1] if full else layer.material.id
            groups.setdefault(name, set()).add(place)
    return tuple(frozenset(group) for group in groups.values())


@dataclass(frozen=True, kw_only=True)
class Usual:
    """Response of one ply and the factor of the air that it takes the place of, (C, 1, F, S), at the angles `sin_theta`
    (S,), which are known by identity."""

    sin_theta: Complex
    ply: AnyResponse
    displaced: Complex

    def some(self, part: tuple[slice | Indices, ...]) -> Usual:
        """A part of it, by its axes."""
        return replace(self, ply=part_of(self.ply, part), displaced=self.displaced[part])


@dataclass(frozen=True, kw_only=True)
class SheetModel:
    """Plane-wave responses of one sheet, of two and of stacks, for C cases, in given air.

    `usual` and `constants_pa` are what was computed before, see `known_at`.

    On a grid: `frequency_hz` (F, 1), `sin_theta` (S,); results (C, K, F, S) with K branches (films, draws), 1 where
    there is but one. Picked (see `picked`): frequency (P, 1), sine (P, 1), K = P; results (P, 1).
    """

    sheet: Sheet
    air: Air
    cases: tuple[Case, ...]
    usual: Usual | None = None
    constants_pa: tuple[Complex, ...] | None = None
    pick: Indices | None = None

    def known_at(self, frequency_hz: Array, sin_theta: Complex) -> SheetModel:
        """The same with the response of one ply computed, once, where every sheet is asked for it."""
        known = self.of_cases(self.cases)
        ply = known.ply(frequency_hz, sin_theta)
        displaced = known._displaced(1, frequency_hz, sin_theta)
        return replace(known, usual=Usual(sin_theta=sin_theta, ply=ply, displaced=displaced))

    def of_cases(self, cases: tuple[Case, ...]) -> SheetModel:
        """The same in other cases, with the constants of their layers computed, once."""
        other = replace(self, cases=cases, usual=None, constants_pa=None)
        constants = tuple(other._constants_pa(place) for place in range(len(self.sheet.layers)))
        return replace(other, constants_pa=constants)

    def first(self, count: int) -> SheetModel:
        """The same for the first cases alone."""
        usual = None if self.usual is None else self.usual.some((slice(count),))
        constants = None if self.constants_pa is None else tuple(known[:count] for known in self.constants_pa)
        return replace(self, cases=self.cases[:count], usual=usual, constants_pa=constants)

    def at_frequencies(self, which: Indices) -> SheetModel:
        """The same where the known response is wanted at some of its frequencies."""
        usual = None if self.usual is None else self.usual.some((slice(None), slice(None), which))
        return replace(self, usual=usual)

    def picked(self, case: Indices) -> SheetModel:
        """The same for P places, each of one case."""
        return replace(self, pick=case)

    def _by_case(self, values: NDArray[Number]) -> NDArray[Number]:
        return values[:, None, None, None] if self.pick is None else values[self.pick, None]

    def _by_branch(self, values: Array) -> Array:
        return values[:, None, None] if self.pick is None else values[:, None]

    @property
    def _thickness_factors(self) -> Array:
        return np.array([case.mass_factor / case.density_factor for case in self.cases])

    @property
    def _density_factors(self) -> Array:
        return np.array([case.density_factor for case in self.cases])

    @property
    def thickness_m(self) -> Array:
        """Thickness of one ply, by case."""
        return self._by_case(self.sheet.thickness_um * 1e-6 * self._thickness_factors)

    def _constants_pa(self, place: int) -> Complex:
        """c11, c13, c33 and c55 of a layer by case, (C, 4); nothing of air."""
        layer = self.sheet.layers[place]
        if layer.material is None:
            return np.empty((len(self.cases), 0), dtype=np.complex128)
        group = next(number for number, places in enumerate(layer_groups(self.sheet)) if place in places)
        return np.array(
            [
                elastic_constants(
                    material=layer.material,
                    density_kg_m3=layer.density_kg_m3 * case.density_factor,
                    variant=case.variants[group if len(case.variants) > 1 else 0],
                )
                for case in self.cases
            ]
        )

    def _layer(self, place: int, known_pa: Complex | None) -> Layer:
        layer = self.sheet.layers[place]
        thickness = self._by_case(layer.thickness_um * 1e-6 * self._thickness_factors)
        if layer.material is None:
            return air_layer(air=self.air, thickness_m=thickness)
        constants = self._constants_pa(place) if known_pa is None else known_pa
        c11, c13, c33, c55 = (self._by_case(constants[:, k]) for k in range(4))
        factors = self._density_factors
        density = layer.density_kg_m3 if np.all(factors == 1.0) else self._by_case(layer.density_kg_m3 * factors)
        plate = ElasticPlate(
            thickness_m=thickness, density_kg_m3=density, c11_pa=c11, c13_pa=c13, c33_pa=c33, c55_pa=c55
        )
        porous = layer.material.porous
        if porous is None:
            return plate
        return PorousSheet(
            frame=plate,
            permeance_um_per_pa_s=self._permeance_factors * porous.permeance_at(layer.thickness_um),
            porosity=porous.porosity,
            tortuosity=porous.tortuosity,
        )

    @cached_property
    def _permeance_factors(self) -> Array:
        """The sheet's permeance over that of its layers as the library has them, who share its flow resistance, by
        case."""
        given, typical = self.sheet.permeance_um_per_pa_s, typical_permeance(self.sheet.layers)
        factor = 1.0 if given is None or typical is None else given / typical
        return factor * self._by_case(np.array([case.permeance_factor for case in self.cases]))

    def turns(self, frequency_hz: Array) -> Array:
        """Wavelengths of the slowest bulk wave across one ply, (C, F). The first thickness resonance is at a half."""
        travel_s = np.zeros(len(self.cases))
        for layer in _frames(self._layers()):
            if isinstance(layer, FluidLayer):
                speed = np.sqrt(np.real(layer.bulk_modulus_pa / layer.density_kg_m3))
            else:
                c33_pa, c55_pa = (np.asarray(c).real.astype(np.float64) for c in (layer.c33_pa, layer.c55_pa))
                speed = np.sqrt(np.minimum(c33_pa, c55_pa) / layer.density_kg_m3)
            travel_s += np.ravel(layer.thickness_m / speed)
        return travel_s[:, None] * frequency_hz

    def _stack(self, layers: Sequence[Layer], frequency_hz: Array, sin_theta: Complex) -> AnyResponse:
        only = layers[0] if len(layers) == 1 else None
        if isinstance(only, ElasticPlate):
            return plate_response(plate=only, air=self.air, frequency_hz=frequency_hz, sin_theta=sin_theta)
        if isinstance(only, PorousSheet):
            return porous_response(sheet=only, air=self.air, frequency_hz=frequency_hz, sin_theta=sin_theta)
        return stack_response(
            stack=Stack(layers=tuple(layers)), air=self.air, frequency_hz=frequency_hz, sin_theta=sin_theta
        )

    def _layers(self) -> list[Layer]:
        known = self.constants_pa or [None] * len(self.sheet.layers)
        return [self._layer(place, known_pa) for place, known_pa in enumerate(known)]

    @property
    def layers(self) -> list[Layer]:
        """The layers of one ply as sound meets them; one with holes where it has some."""
        layers = self._layers()
        return [self._perforated(layers)] if self.sheet.open_area_fraction > 0.0 else layers

    def ply(self, frequency_hz: Array, sin_theta: Complex) -> AnyResponse:
        """One ply, from face to face; where air can pass it, the pores or holes beside the moving frame."""
        if self.usual is not None and sin_theta is self.usual.sin_theta:
            return self.usual.ply
        return self._stack(self.layers, frequency_hz, sin_theta)

    def _perforated(self, layers: Sequence[Layer]) -> PorousSheet:
        """Holes through a whole ply. Of several layers, the thickest moves with all of the mass: holes pass more."""
        parts = zip(self.sheet.layers, _frames(layers), strict=True)
        solid = [(layer.thickness_um, part) for layer, part in parts if isinstance(part, ElasticPlate)]
        _, thickest = max(solid, key=lambda one: one[0])
        mass = sum((part.density_kg_m3 * part.thickness_m for _, part in solid), start=np.zeros(1))
        frame = replace(thickest, thickness_m=self.thickness_m, density_kg_m3=mass / self.thickness_m)
        viscosity = self.air.kinematic_viscosity_m2_per_s * self.air.density_kg_m3
        open_area = self.sheet.open_area_fraction
        return PorousSheet(
            frame=frame,
            # Poiseuille flow through round holes.
            permeance_um_per_pa_s=1e6 * HOLE_RADIUS_M**2 * open_area / (8.0 * viscosity * frame.thickness_m),
            porosity=open_area,
            tortuosity=1.0,
            thermal_length_ratio=1.0,
        )

    def transmission(self, frequency_hz: Array, sin_theta: Complex) -> Complex:
        """Transmission of one ply with the air it displaces."""
        one = self.ply(frequency_hz, sin_theta)
        return np.asarray(one.transmission * self._displaced(1, frequency_hz, sin_theta), dtype=np.complex128)

    def transmission_of_stack(self, between: Sequence[Film], frequency_hz: Array, sin_theta: Complex) -> Complex:
        """Transmission of plies one on another, face to back, with films `between` them, each in K branches, and the
        air they displace; without films that is one ply. In stacks of three and more the films' resonances are not
        averaged over the spot: that is left to the draws."""
        if not between:
            return self.transmission(frequency_hz, sin_theta)
        one, sheets = self.ply(frequency_hz, sin_theta), self._displaced(len(between) + 1, frequency_hz, sin_theta)
        if len(between) == 1:
            two = double_transmission(first=one, second=one, film=between[0], factor=sheets)
            return np.asarray(two, dtype=np.complex128)
        whole: AnyResponse = one
        for film in between:
            whole = double_response(first=whole, second=one, film=film)
        return np.asarray(whole.transmission * sheets)

    def transmission_of_flat_stack(self, film_m: Array, frequency_hz: Array, sin_theta: Complex) -> Complex:
        """The same with even films of thickness `film_m` (joints, K)."""
        between = [
            flat_film(air=self.air, thickness_m=self._by_branch(joint), frequency_hz=frequency_hz, sin_theta=sin_theta)
            for joint in film_m
        ]
        return self.transmission_of_stack(between, frequency_hz, sin_theta)

    def halves_of_flat_pair(self, film_m: Array, frequency_hz: Array, sin_theta: Complex) -> Complex:
        """`double_halves` of two plies with even films of thickness `film_m` (K,): (2, C, K, F, S)."""
        one = self.ply(frequency_hz, sin_theta)
        film = film_response(
            air=self.air, thickness_m=self._by_branch(film_m), frequency_hz=frequency_hz, sin_theta=sin_theta
        )
        return np.stack(double_halves(first=one, second=one, film=film))

    def bonded(self, plies: int, frequency_hz: Array, sin_theta: Complex) -> Complex:
        """Transmission of plies welded to each other, pores on pores: of one layer, as one that is so much thicker."""
        layers = self.layers
        welded = [_thicker(layers[0], plies)] if len(layers) == 1 else layers * plies
        whole = self._stack(welded, frequency_hz, sin_theta)
        return np.asarray(whole.transmission) * self._displaced(plies, frequency_hz, sin_theta)

    def wet(self, water_m: Array, frequency_hz: Array, sin_theta: Complex) -> Complex:
        """Transmission of two sheets with films of water (K,) between them, which fills their pores."""
        thickness = self._by_branch(water_m)
        water = FluidLayer(
            thickness_m=thickness,
            density_kg_m3=WATER_DENSITY_KG_M3,
            in_plane_density_kg_m3=WATER_DENSITY_KG_M3,
            bulk_modulus_pa=WATER_DENSITY_KG_M3 * WATER_SPEED_M_PER_S**2,
        )
        sheet = _frames(self._layers())
        whole = self._stack([*sheet, water, *sheet], frequency_hz, sin_theta)
        sheets = self._displaced(2, frequency_hz, sin_theta)
        return np.asarray(whole.transmission) * sheets * self._factor(thickness, frequency_hz, sin_theta)

    def _displaced(self, plies: int, frequency_hz: Array, sin_theta: Complex) -> Complex:
        """Factor of the air that some plies take the place of."""
        if self.usual is not None and sin_theta is self.usual.sin_theta:
            return self.usual.displaced**plies
        return self._factor(plies * self.thickness_m, frequency_hz, sin_theta)

    def _factor(self, thickness_m: Array, frequency_hz: Array, sin_theta: Complex) -> Complex:
        return displaced_air(
            frequency_hz=frequency_hz,
            sin_theta=sin_theta,
            thickness_m=thickness_m,
            sound_speed_m_per_s=self.air.sound_speed_m_per_s,
        )


def _frames(layers: Sequence[Layer]) -> list[ElasticPlate | FluidLayer]:
    """Layers without their pores."""
    return [layer.frame if isinstance(layer, PorousSheet) else layer for layer in layers]


def _thicker(layer: Layer, times: int) -> Layer:
    """So many layers on each other, as the one that they are."""
    if isinstance(layer, PorousSheet):
        frame = replace(layer.frame, thickness_m=times * layer.frame.thickness_m)
        return replace(layer, frame=frame, permeance_um_per_pa_s=layer.permeance_um_per_pa_s / times)
    return replace(layer, thickness_m=times * layer.thickness_m)


@cache
def strata(joints: int) -> Array:
    """A fixed Latin hypercube (joints, DRAWS): every joint sees its whole distribution. It is that of
    `scipy.stats.qmc`, which takes a third of a second to import."""
    (rng,) = np.random.default_rng(1).spawn(1)
    within = rng.uniform(size=(DRAWS, joints)).T
    places = np.tile(np.arange(1, DRAWS + 1), (joints, 1))
    for of_joint in places:
        rng.shuffle(of_joint)
    return np.asarray((places - within) / DRAWS)


def draw_films(index: Indices, weight: Array, *, joints: int) -> Indices:
    """Films (joints, DRAWS) drawn for the joints of a stack, from indices into `FILM_M` and their weights."""
    place = np.searchsorted(np.cumsum(weight)[:-1], strata(joints))
    return index[place]
