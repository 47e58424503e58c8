"""From what a principle reads to the spread that a decision needs.

A reading depends on a few things far from linearly (the air between two sheets, print) and on many nearly linearly
(mass, moisture, drift). The first become weighted nodes, the second one Gaussian by the root of the sum of squares
(JCGM 100:2008, 5.1.2), and what the model itself does not know becomes variants that are kept apart: the nominal case,
then both ends of the interval of each constant. What is the same for all of a job is drawn (see `principles.draws`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95, Z95
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.draws import one_parabola
from sheetmargin_service.principles.lots import LOT_SHARE, lot_of
from sheetmargin_service.principles.protocol import SignalDistribution, SignalTable, Span, Spread

Array = NDArray[np.float64]

BODY_NODES, BODY_REACH, LOOSE_NODES = 11, 2.8, 4
FORMATION_SPOT_MM = 5.0
"""Spot for which a material's formation is given."""
FORMATION_LIMIT = 2.0
"""A smaller spot sees more of the formation, up to this factor (typical, from memory)."""
PARTIAL_CONTACT = 0.5
"""Share of doubles without air between them where the contact is 'partial' (a choice, stated)."""
UNUSABLE_SIGMA = 1e6
"""Standard deviation, in any unit, of a reading at a setting where the sheet has no room: no margin survives it."""
COMMON = ("drift", "taught-sheet", "gap-drift", "bracket", "dust", "air")
"""Causes that move every state alike from one teaching to the next."""
FIXED = {
    "lot-mass": "mass",
    "lot-thickness": "thickness",
    "moisture": "moisture",
    "resistivity": "resistivity",
    "permeability": "permeability",
    "wider-mm": "gap",
}
"""Causes that are the same for all of a job, and what is drawn for them."""
SMALL = 0.01
"""Relative change by which slopes over the size of a lot are taken."""
CONSTANTS = ("constants", "other-constants")
"""What is drawn for the constants whose ends are the variants."""
_ABOUT = 0.4
_PLACES, _PLACE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_PLACES, _PLACE_WEIGHTS = _PLACES * np.sqrt(1.0 - _ABOUT**2), _PLACE_WEIGHTS / _PLACE_WEIGHTS.sum()
"""A standard normal variable as Gaussians of a standard deviation of `_ABOUT` about nine places, right to its
seventeenth moment (Gauss and Hermite)."""
_BISECTIONS = 13
"""Halvings of the range: they leave a ten-thousandth of it."""


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What one state reads at N settings.

    `values` (V, N, M): V variants, N settings, M nodes; `weights` (M,) sum to 1. `moves` is how far a standard
    deviation of each cause moves every node, with its sign, of a shape that broadcasts to (V, N).
    """

    values: Array
    weights: Array
    moves: Mapping[str, Array]

    @cached_property
    def sigma(self) -> Array:
        """All that blurs a node beside the constants, (V, N): the root of the sum of squares."""
        return np.sqrt(sum((np.square(move) for move in self.moves.values()), np.zeros(self.values.shape[:2])))

    @cached_property
    def constants(self) -> Mapping[str, tuple[Array, Array]]:
        """Of each constant, by what is drawn for it, slope and curvature (N, M) over that standard normal variable: a
        parabola through the nominal case and both ends, which hold 90 %."""
        ends = zip(CONSTANTS, self.values[1::2], self.values[2::2], strict=False)
        return {
            unknown: (0.5 * (high - low) / Z95, (0.5 * (high + low) - self.values[0]) / Z95**2)
            for unknown, low, high in ends
        }

    def causes(self, *, nodes: str, variants: str) -> dict[str, float]:
        """Standard deviations at the first setting by cause; `nodes` and `variants` name what those stand for."""
        nominal = self.values[0, 0]
        means = [(slope[0] @ self.weights, bend[0] @ self.weights) for slope, bend in self.constants.values()]
        return {
            **{name: abs(self._first(name)) for name in self.moves},
            nodes: float(np.sqrt(self.weights @ (nominal - self.weights @ nominal) ** 2)),
            variants: float(np.sqrt(sum(slope**2 + 2.0 * bend**2 for slope, bend in means))),
        }

    def span(self) -> Span:
        """p1, p50 and p99 over nodes, moves and constants, (N,) each."""
        bends = np.array([*self.constants.values()]).reshape(-1, 2, *self.values.shape[1:])
        moved, slope, bend = one_parabola(bends[:, 0], bends[:, 1])
        mean = self.values[0] + moved
        z = _PLACES[:, None, None]
        # About each place the parabola is straight, but for what its bend adds to mean and variance.
        centres = mean + slope * z + bend * (z * z + _ABOUT**2 - 1.0)
        variance = (_ABOUT * (slope + 2.0 * bend * z)) ** 2 + 2.0 * (_ABOUT**2 * bend) ** 2
        spread = np.sqrt(self.sigma[0][:, None] ** 2 + variance)
        low, high = ((centres - 5.0 * spread).min(axis=(0, 2)), (centres + 5.0 * spread).max(axis=(0, 2)))
        wanted = np.array([0.01, 0.5, 0.99])[:, None]
        bottom, top = np.broadcast_arrays(low, wanted)[0].copy(), np.broadcast_arrays(high, wanted)[0].copy()
        for _ in range(_BISECTIONS):
            middle = 0.5 * (bottom + top)
            share = ndtr((middle[:, None, :, None] - centres) / spread)
            below = _PLACE_WEIGHTS @ (share @ self.weights) < wanted
            bottom, top = np.where(below, middle, bottom), np.where(below, top, middle)
        p1, p50, p99 = 0.5 * (bottom + top)
        return Span(p1=p1, p50=p50, p99=p99)

    def spread(self) -> Spread:
        """The distribution at the first setting."""
        unknowns = {unknown: (slope[0], bend[0]) for unknown, (slope, bend) in self.constants.items()}
        common = blur = 0.0
        for name in self.moves:
            move = self._first(name)
            if name in COMMON:
                common = float(np.hypot(common, move))
            elif name not in FIXED:
                blur = float(np.hypot(blur, move))
            elif move != 0.0:
                even = np.zeros_like(self.weights)
                unknowns[FIXED[name]] = even + move, even
        nominal, weights = self.values[0, 0], self.weights[None, :]
        return Spread(nominal=nominal, weights=weights, blur=blur, unknowns=unknowns, common=common)

    def _first(self, name: str) -> float:
        """A move in the nominal case at the first setting."""
        return float(np.broadcast_to(self.moves[name], self.values.shape[:2])[0, 0])


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

    def signal_table(self) -> SignalTable:
        return SignalTable(
            no_sheet=self.no_sheet.span(),
            single=self.single.span(),
            double=self.double.span(),
            fewer=self.fewer.span() if self.fewer else None,
        )

    def distribution(self) -> SignalDistribution:
        single, double = (
            readings.causes(nodes=self.nodes, variants=self.variants) for readings in (self.single, self.double)
        )
        return SignalDistribution(
            no_sheet=self.no_sheet.spread(),
            single=self.single.spread(),
            double=self.double.spread(),
            fewer=self.fewer.spread() if self.fewer else None,
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

    What is not known of the stock then moves every other state against that one, and how far the sheet that it was
    taught on lies from the others moves all of them.
    """
    shift = on.values[:1].mean(axis=2, keepdims=True) - on.values.mean(axis=2, keepdims=True)
    own = [np.square(move) for name, move in on.moves.items() if name not in FIXED and name not in COMMON]
    error = np.sqrt(sum(own, np.zeros(on.values.shape[:2])))

    def moved(readings: Readings) -> Readings:
        fixed = {name: readings.moves.get(name, 0.0) - move for name, move in on.moves.items() if name in FIXED}
        moves = {**readings.moves, **fixed, "taught-sheet": error}
        return replace(readings, values=readings.values + shift, moves=moves)

    return replace(
        states,
        no_sheet=moved(states.no_sheet),
        single=moved(states.single),
        double=moved(states.double),
        fewer=moved(states.fewer) if states.fewer else None,
    )


def open_readings(*, values: Array, moves: Mapping[str, Array]) -> Readings:
    """No sheet: one variant and one node at each of N settings, `values` (N,)."""
    return Readings(values=values[None, :, None], weights=np.ones(1), moves=moves)


def moved_by(read: Callable[..., Array], influences: Mapping[str, float]) -> dict[str, Array]:
    """How far a standard deviation of each of some influences moves a reading, to first order, of the shape that `read`
    returns.

    `read(name=step)` is the reading with one influence moved by one of its standard deviations.
    """
    return {
        name.replace("_", "-"): 0.5 * (read(**{name: step}) - read(**{name: -step}))
        for name, step in influences.items()
    }


def relative_thickness_deviation(sheet: Sheet, *, spot_mm: float) -> float:
    """Standard deviation of thickness over a spot, relative: from sheet to sheet of a lot, and formation averaged over
    the spot.

    Formation averages as the inverse of the spot's width, as uncorrelated places do.
    """
    formation = sheet.formation_pct * min(FORMATION_SPOT_MM / spot_mm, FORMATION_LIMIT)
    within = sheet.thickness_tolerance_pct * np.sqrt(1.0 - LOT_SHARE)
    return float(np.hypot(within, formation)) / 100.0 / HALF_WIDTH_95


def lot_thickness_deviation(sheet: Sheet) -> float:
    """Standard deviation of a lot's mean thickness, relative."""
    return float(np.hypot(*lot_of(sheet).thickness))


def lot_moves(sheet: Sheet, *, bulk: Array, denser: Array) -> dict[str, Array]:
    """How far what is drawn of a lot's size moves a reading: `bulk` is its derivative by more of the same, relative,
    `denser` that by the density of the same mass."""
    lot = lot_of(sheet)
    moves = (mass * bulk + density * denser for mass, density in zip(lot.mass, lot.density, strict=True))
    return dict(zip(("lot-mass", "lot-thickness"), moves, strict=True))


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
    film = np.maximum(d.p50_um * np.exp(np.where(z < 0.0, below, above) * z), d.least_um)
    weight *= (1.0 - d.loose_share) / weight.sum()
    share = (np.arange(LOOSE_NODES) + 0.5) / LOOSE_NODES
    stray = d.p95_um * (d.loose_max_um / d.p95_um) ** share
    return (
        np.concatenate([film, stray]) * 1e-6,
        np.concatenate([weight, np.full(LOOSE_NODES, d.loose_share / LOOSE_NODES)]),
    )
