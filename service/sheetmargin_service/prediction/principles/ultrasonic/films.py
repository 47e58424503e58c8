"""The air between two sheets: its distribution on one grid of thicknesses, and what such films do to sound."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.trapped_air import Film, uneven_film
from sheetmargin_service.constants import Z95
from sheetmargin_service.materials.material import TrappedAir

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
"""How far a typical distribution may be off: its thicknesses, and the share of loose sheets (choices, stated)."""


def share_below(distribution: TrappedAir, *, film_m: Array | float) -> Array:
    """Share of doubles whose film is thinner than `film_m`: a log-normal body on either side of its median through p5
    and p95, and a loose branch that is log-uniform from p95 to the loosest."""
    d = distribution
    film_um = np.maximum(np.asarray(film_m, dtype=np.float64) * 1e6, 1e-9)
    ratio = np.log(film_um / d.p50_um)
    width = np.where(ratio < 0.0, np.log(d.p50_um / d.p5_um), np.log(d.p95_um / d.p50_um))
    loose = np.clip(np.log(film_um / d.p95_um) / np.log(d.loose_max_um / d.p95_um), 0.0, 1.0)
    return np.asarray((1.0 - d.loose_share) * ndtr(Z95 * ratio / width) + d.loose_share * loose)


@lru_cache(maxsize=1024)
def film_weights(distribution: TrappedAir, *, every: int = 1) -> tuple[Indices, Array]:
    """Indices (K,) into `FILM_M` that matter for a distribution, and weights (3, K), each row summing to 1: as the
    library has it, tighter, and looser. `every` second film is enough where only a search looks."""
    places = np.arange(0, len(FILM_M), every)
    film = FILM_M[places]
    edges = np.concatenate([[0.0], np.sqrt(film[1:] * film[:-1]), [np.inf]])
    alternatives = (distribution, _moved(distribution, 1.0 / AIR_FACTOR), _moved(distribution, AIR_FACTOR))
    weight = np.stack([np.diff(share_below(d, film_m=edges)) for d in alternatives])
    index = np.flatnonzero(weight.max(axis=0) > NEGLIGIBLE)
    weight = weight[:, index]
    return places[index], weight / weight.sum(axis=1, keepdims=True)


def _moved(distribution: TrappedAir, factor: float) -> TrappedAir:
    """All of a distribution but its loosest end thinner or thicker by a factor, the loose branch rarer or commoner."""
    d = distribution
    return replace(
        d,
        p5_um=d.p5_um * factor,
        p50_um=d.p50_um * factor,
        p95_um=d.p95_um * factor,
        loose_max_um=max(d.loose_max_um, 1.01 * d.p95_um * factor),
        loose_share=min(d.loose_share * LOOSE_FACTOR ** np.sign(factor - 1.0), 0.5),
    )


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
        return replace(self, frequency_hz=self.frequency_hz[which], known=_part(self.table, (slice(None), which)))

    def between(self, index: Indices) -> Film:
        """Films `FILM_M[index]`, (K, F, S)."""
        return _part(self.table, _as_slice(index))


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


def _part(film: Film, part: Indices | slice | tuple[slice | Indices, ...]) -> Film:
    """A part of a table, by its axes."""
    assert film.changes is not None
    through, back, around = film.changes
    return Film(
        through=film.through[part],
        back=film.back[part],
        around=film.around[part],
        changes=(through[part], back[part], around[part]),
    )
