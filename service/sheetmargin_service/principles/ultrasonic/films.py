"""The air between two sheets: its distribution on one grid of thicknesses, and what such films do to sound."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.response import part_of
from sheetmargin_service.acoustics.trapped_air import Film, uneven_film
from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import Z95
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.principles.draws import drawn

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]
FILM_M = np.geomspace(0.1e-6, 2.4e-3, 43)
"""Thicknesses at which two sheets are computed, a ratio of 1.27 apart: a third of the usual distribution's spread. The
thinnest stands for all below it: a film of blocked sheets that is thinner is one in a million."""
FILM_VARIATION = 0.2
"""Relative standard deviation of the trapped air's thickness within the beam's spot (typical, from memory)."""
NEGLIGIBLE = 1e-6
AIR_FACTOR = 1.5
LOOSE_FACTOR = 3.0
"""How far a typical distribution may be off either way, with 90 %: its thicknesses, and the share of loose sheets
(choices, stated)."""
FURTHEST = 2.0
"""Films that matter are those of distributions up to so many of these factors apart."""


def share_below(distribution: TrappedAir, *, film_m: Array | float) -> Array:
    """Share of doubles whose film is thinner than `film_m`: a log-normal body on either side of its median through p5
    and p95, and a loose branch that is log-uniform from p95 to the loosest."""
    return shares_below(distribution, film_m=film_m, factor=1.0, loose_share=distribution.loose_share)


def shares_below(
    distribution: TrappedAir, *, film_m: Array | float, factor: Array | float, loose_share: Array | float
) -> Array:
    """The same with all but the loosest end thinner or thicker by a factor, and another share of loose sheets; shapes
    broadcast. What would be thinner than the least is as thin as that."""
    d = distribution
    film_um = np.maximum(np.asarray(film_m, dtype=np.float64) * 1e6, 1e-9)
    ratio = np.log(film_um / (d.p50_um * factor))
    width = np.where(ratio < 0.0, np.log(d.p50_um / d.p5_um), np.log(d.p95_um / d.p50_um))
    thickest = d.p95_um * np.asarray(factor)
    loosest = np.maximum(d.loose_max_um, 1.01 * thickest)
    loose = np.clip(np.log(film_um / thickest) / np.log(loosest / thickest), 0.0, 1.0)
    share = (1.0 - loose_share) * ndtr(Z95 * ratio / width) + loose_share * loose
    return np.where(film_um < d.least_um * np.asarray(factor), 0.0, share)


@lru_cache(maxsize=1024)
def film_weights(distribution: TrappedAir, *, every: int = 1) -> tuple[Indices, Array]:
    """Indices (K,) into `FILM_M` that matter for a distribution or one that is moved as far as it may be, and the
    weights (K,) of the distribution as it is, which sum to 1. Where only a search looks, `every` second film of the
    distribution as it is is enough."""
    places = np.arange(0, len(FILM_M), every)
    edges = _edges(FILM_M[places])
    moved = np.array([0.0, -FURTHEST, FURTHEST] if every == 1 else [0.0])[:, None]
    factor = AIR_FACTOR**moved
    share = np.minimum(distribution.loose_share * LOOSE_FACTOR**moved, 0.5)
    weight = np.diff(shares_below(distribution, film_m=edges, factor=factor, loose_share=share), axis=1)
    index = np.flatnonzero(weight.max(axis=0) > NEGLIGIBLE)
    weight = weight[0, index]
    return places[index], weight / weight.sum()


@lru_cache(maxsize=256)
def drawn_film_weights(distribution: TrappedAir) -> Array:
    """Weights (draws, K) of the same films in each draw of where the distribution lies and of its loose share."""
    index, _ = film_weights(distribution)
    edges = _edges(FILM_M)
    weight = np.diff(
        shares_below(
            distribution,
            film_m=edges,
            factor=AIR_FACTOR ** (drawn("film") / Z95)[:, None],
            loose_share=np.minimum(distribution.loose_share * LOOSE_FACTOR ** (drawn("loose") / Z95), 0.5)[:, None],
        ),
        axis=1,
    )[:, index]
    weight /= weight.sum(axis=1, keepdims=True)
    weight.setflags(write=False)
    return np.asarray(weight)


def _edges(film_m: Array) -> Array:
    """Where one film ends and the next begins; the first and the last stand for all beyond them."""
    return np.concatenate([[0.0], np.sqrt(film_m[1:] * film_m[:-1]), [np.inf]])


@dataclass(frozen=True, kw_only=True)
class Films:
    """Films of air at F frequencies: all of `FILM_M` (D), computed once unless they are `known`, (D, F, S), for the
    `sin_theta` (S,) that every sheet is asked at."""

    air: Air
    frequency_hz: Array
    sin_theta: Complex
    known: Film | None = None

    @cached_property
    def table(self) -> Film:
        if self.known is not None:
            return self.known
        return _films(self.air, FILM_M[:, None, None], self.frequency_hz[:, None], self.sin_theta)

    def at_frequencies(self, which: Indices) -> Films:
        """The same at some of the frequencies."""
        if np.array_equal(which, np.arange(len(self.frequency_hz))):
            return self
        return replace(self, frequency_hz=self.frequency_hz[which], known=part_of(self.table, (slice(None), which)))

    def between(self, index: Indices) -> Film:
        """Films `FILM_M[index]`, (K, F, S)."""
        return part_of(self.table, _as_slice(index))


def _as_slice(index: Indices) -> Indices | slice:
    """An even run of places as a slice, which copies nothing."""
    if len(index) < 2:
        return index
    run = np.arange(index[0], index[-1] + 1, max(index[1] - index[0], 1))
    return slice(int(run[0]), int(run[-1]) + 1, int(run[1] - run[0])) if np.array_equal(run, index) else index


def _films(air: Air, film_m: Array, frequency_hz: Array, sin_theta: Complex) -> Film:
    return uneven_film(
        air=air, thickness_m=film_m, variation=FILM_VARIATION, frequency_hz=frequency_hz, sin_theta=sin_theta
    )
