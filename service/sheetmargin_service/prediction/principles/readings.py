"""From what a principle reads to the spread that a decision needs.

A reading depends on a few things far from linearly (the air between two sheets, print) and on many nearly linearly
(mass, moisture, drift). The first become weighted nodes, the second one Gaussian by the root of the sum of squares
(JCGM 100:2008, 5.1.2), and what the model itself does not know becomes variants that are kept apart.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sheetmargin_service.constants import HALF_WIDTH_95, Z95
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.principles.base import Detail, Span, Spread, Survey

Array = NDArray[np.float64]

"""Half width that holds 95 % of a Gaussian, in standard deviations."""
BODY_NODES, BODY_REACH, LOOSE_NODES = 11, 2.8, 4
FORMATION_SPOT_MM = 5.0
"""Spot for which a material's formation is given."""
FORMATION_LIMIT = 2.0
"""A smaller spot sees more of the formation, up to this factor (typical, from memory)."""
PARTIAL_CONTACT = 0.5
"""Share of doubles without air between them where the contact is 'partial' (a choice, stated)."""
UNUSABLE_SIGMA = 1e6
"""Standard deviation, in any unit, of a reading at a setting where the sheet has no room: no margin survives it."""
_BISECTIONS = 13
"""Halvings of the range: they leave a ten-thousandth of it."""


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What one state reads at N settings.

    `values` (V, N, M): V variants, N settings, M nodes; `weights` (M,) and `belief` (V,) sum to 1. `moves` are the
    standard deviations of what blurs every node, by its cause, each of a shape that broadcasts to (V, N).
    """

    values: Array
    weights: Array
    belief: Array
    moves: Mapping[str, Array]

    @cached_property
    def sigma(self) -> Array:
        """All that blurs a node, (V, N): the root of the sum of squares."""
        return np.sqrt(sum((np.square(move) for move in self.moves.values()), np.zeros(self.values.shape[:2])))

    def causes(self, *, nodes: str, variants: str) -> dict[str, float]:
        """Standard deviations at the first setting by cause; `nodes` and `variants` name what those stand for."""
        nominal = self.values[0, 0]
        means = self.values[:, 0] @ self.weights
        return {
            **{name: float(np.broadcast_to(move, self.values.shape[:2])[0, 0]) for name, move in self.moves.items()},
            nodes: float(np.sqrt(self.weights @ (nominal - self.weights @ nominal) ** 2)),
            variants: float(np.sqrt(self.belief @ (means - self.belief @ means) ** 2)),
        }

    def span(self) -> Span:
        """p1, p50 and p99 of the mixture of all variants and nodes, (N,) each."""
        low = (self.values.min(axis=2) - 5.0 * self.sigma).min(axis=0)
        high = (self.values.max(axis=2) + 5.0 * self.sigma).max(axis=0)
        wanted = np.array([0.01, 0.5, 0.99])[:, None]
        bottom, top = np.broadcast_arrays(low, wanted)[0].copy(), np.broadcast_arrays(high, wanted)[0].copy()
        for _ in range(_BISECTIONS):
            middle = 0.5 * (bottom + top)
            share = ndtr((middle[:, None, :, None] - self.values) / self.sigma[..., None])
            below = self.belief @ (share @ self.weights) < wanted
            bottom, top = np.where(below, middle, bottom), np.where(below, top, middle)
        p1, p50, p99 = 0.5 * (bottom + top)
        return Span(p1=p1, p50=p50, p99=p99)

    def spread(self, grid: SignalGrid) -> Spread:
        """The distribution at the first setting, one row a variant."""
        pmf = grid.spread(self.values[:, 0], self.weights, self.sigma[:, 0])
        return Spread(variants=pmf, weights=self.belief)


@dataclass(frozen=True, kw_only=True)
class States:
    """Readings of no sheet, one and two; of plies that are counted, two is a ply too many and `fewer` one too few.

    `nodes` and `variants` name the causes behind the nodes and the variants of the readings.
    """

    no_sheet: Readings
    single: Readings
    double: Readings
    fewer: Readings | None
    nodes: str
    variants: str

    def survey(self) -> Survey:
        return Survey(
            no_sheet=self.no_sheet.span(),
            single=self.single.span(),
            double=self.double.span(),
            fewer=self.fewer.span() if self.fewer else None,
        )

    def detail(self, grid: SignalGrid) -> Detail:
        single, double = (
            readings.causes(nodes=self.nodes, variants=self.variants) for readings in (self.single, self.double)
        )
        return Detail(
            no_sheet=self.no_sheet.spread(grid),
            single=self.single.spread(grid),
            double=self.double.spread(grid),
            fewer=self.fewer.spread(grid) if self.fewer else None,
            moves={name: (single[name], double[name]) for name in single},
        )


def states_of(
    sheet: Sheet, *, no_sheet: Readings, readings: Callable[[int, Array | None, Array], Readings], variants: str
) -> States:
    """Every state from `readings(plies, film_m, weights)`: so many plies, the last joint with the air `film_m` (M,)
    where it is given, the other joints with what is usual. `variants` names what the variants stand for."""
    film, weights = air_between(sheet)
    certain = np.ones(1)
    return States(
        no_sheet=no_sheet,
        single=readings(sheet.plies, None, certain),
        double=readings(sheet.double_plies, film, weights),
        fewer=readings(sheet.fewer_plies, None, certain) if sheet.fewer_plies else None,
        nodes="trapped-air",
        variants=variants,
    )


def taught(states: States, on: Readings) -> States:
    """The states as a receiver reads them whose gain was set so that what it was taught `on` reads its nominal value.

    What the model does not know of the sheet then moves every other state against that one.
    """
    shift = on.values[:1].mean(axis=2, keepdims=True) - on.values.mean(axis=2, keepdims=True)

    def moved(readings: Readings) -> Readings:
        return replace(readings, values=readings.values + shift, belief=on.belief)

    return replace(
        states,
        no_sheet=moved(states.no_sheet),
        single=moved(states.single),
        double=moved(states.double),
        fewer=moved(states.fewer) if states.fewer else None,
    )


def open_readings(*, values: Array, moves: Mapping[str, Array]) -> Readings:
    """No sheet: one variant and one node at each of N settings, `values` (N,)."""
    return Readings(values=values[None, :, None], weights=np.ones(1), belief=np.ones(1), moves=moves)


def moved_by(read: Callable[..., Array], influences: Mapping[str, float]) -> dict[str, Array]:
    """Standard deviation of a reading from each of some influences, to first order, of the shape that `read` returns.

    `read(name=step)` is the reading with one influence moved by one of its standard deviations.
    """
    return {
        name.replace("_", "-"): 0.5 * np.abs(read(**{name: step}) - read(**{name: -step}))
        for name, step in influences.items()
    }


def relative_thickness_deviation(sheet: Sheet, *, spot_mm: float) -> float:
    """Standard deviation of thickness over a spot, relative: from sheet to sheet, and formation averaged over the spot.

    Formation averages as the inverse of the spot's width, as uncorrelated places do.
    """
    formation = sheet.formation_pct * min(FORMATION_SPOT_MM / spot_mm, FORMATION_LIMIT)
    return float(np.hypot(sheet.thickness_tolerance_pct, formation)) / 100.0 / HALF_WIDTH_95


def uniform_deviation(low: float, high: float) -> float:
    """Standard deviation of a quantity that may lie anywhere in a range."""
    return (high - low) / float(np.sqrt(12.0))


def air_between(sheet: Sheet) -> tuple[Array, Array]:
    """Air between two sheets in m and its weights, (M,) each: none where they are bonded or wet, none for a part of the
    doubles where the contact is partial."""
    if sheet.contact in ("bonded", "water-film"):
        return np.zeros(1), np.ones(1)
    film, weight = film_nodes(sheet.trapped_air)
    if sheet.contact == "partial":
        return np.append(film, 0.0), np.append(weight * (1.0 - PARTIAL_CONTACT), PARTIAL_CONTACT)
    return film, weight


def film_nodes(distribution: TrappedAir) -> tuple[Array, Array]:
    """Thicknesses in m of the air between two sheets and their weights, the body first and then the loose branch.

    The body is log-normal on either side of its median, through p5 and p95, sampled evenly in the normal variable
    (trapezoid rule, whose error for a Gaussian falls faster than any power); the loose branch is log-uniform from p95
    to the loosest, sampled at the middle of equal shares.
    """
    d = distribution
    z = np.linspace(-BODY_REACH, BODY_REACH, BODY_NODES)
    weight = np.exp(-0.5 * z * z)
    below, above = np.log(d.p50_um / d.p5_um) / Z95, np.log(d.p95_um / d.p50_um) / Z95
    film = d.p50_um * np.exp(np.where(z < 0.0, below, above) * z)
    weight *= (1.0 - d.loose_share) / weight.sum()
    share = (np.arange(LOOSE_NODES) + 0.5) / LOOSE_NODES
    stray = d.p95_um * (d.loose_max_um / d.p95_um) ** share
    return (
        np.concatenate([film, stray]) * 1e-6,
        np.concatenate([weight, np.full(LOOSE_NODES, d.loose_share / LOOSE_NODES)]),
    )
