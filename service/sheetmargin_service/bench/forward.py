"""What a sample would read at some places, for any mass, stiffness, loss and film of air: the forward model of a fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.bench.reading import Place
from sheetmargin_service.bench.sample import Sample
from sheetmargin_service.detectors.model import UltrasonicParameters
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.prediction.principles.ultrasonic.films import FILM_M
from sheetmargin_service.prediction.principles.ultrasonic.levels import levels_of
from sheetmargin_service.prediction.principles.ultrasonic.pair import Pair, pair_at

Array = NDArray[np.float64]
STEP = 0.1
"""Relative step by which slopes are taken."""


@dataclass(frozen=True, kw_only=True)
class Levels:
    """Attenuation in dB at P places before floors: of one sheet (P,), and of two with each film of `FILM_M` (P, K)."""

    single: Array
    double: Array


@dataclass(frozen=True, kw_only=True)
class Slopes:
    """What one standard deviation of mass, stiffness and loss adds, each with an axis of 3 in front."""

    single: Array
    double: Array


class Forward(Protocol):
    """Levels of a sheet whose mass, stiffness and loss are `x` (3,) standard deviations from the library's."""

    def levels(self, x: Array) -> Levels: ...

    def slopes(self, x: Array) -> Slopes: ...


@dataclass(frozen=True, kw_only=True)
class Stand:
    """One class at its places: `rows` are their positions among all places, `columns` those in the pair's settings."""

    pair: Pair
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]


def stands_at(places: Sequence[Place], classes: dict[str, UltrasonicParameters], air: Air) -> tuple[Stand, ...]:
    """The classes of some places, each with the gaps and tilts that it is read at."""
    stands = []
    for name, parameters in classes.items():
        rows = [row for row, place in enumerate(places) if place[0] == name]
        gaps = sorted({places[row][1] for row in rows})
        tilts = sorted({places[row][2] for row in rows})
        pair = pair_at(parameters, air, gap_mm=tuple(gaps), tilt_deg=tuple(tilts))
        columns = [gaps.index(places[row][1]) * len(tilts) + tilts.index(places[row][2]) for row in rows]
        stands.append(Stand(pair=pair, rows=np.array(rows), columns=np.array(columns)))
    return tuple(stands)


@dataclass(frozen=True, kw_only=True)
class Physics:
    """The forward model as it is computed; every point asked for is remembered. Without `doubles` two are left at 0."""

    sample: Sample
    stands: tuple[Stand, ...]
    places: int
    library: Library
    doubles: bool

    @cached_property
    def _known(self) -> dict[bytes, Levels]:
        return {}

    def levels(self, x: Array) -> Levels:
        key = x.tobytes()
        if key not in self._known:
            self._known[key] = self._compute(x)
        return self._known[key]

    def slopes(self, x: Array) -> Slopes:
        here = self.levels(x)
        single, double = np.zeros((3, *here.single.shape)), np.zeros((3, *here.double.shape))
        for index, parameter in enumerate(self.sample.solid):
            if parameter.sigma > 0.0:
                step = np.zeros(3)
                step[index] = STEP / parameter.sigma
                there = self.levels(x + step)
                single[index] = (there.single - here.single) / step[index]
                double[index] = (there.double - here.double) / step[index]
        return Slopes(single=single, double=double)

    def _compute(self, x: Array) -> Levels:
        mass, stiffness, loss = (p.at(value) / p.nominal for p, value in zip(self.sample.solid, x, strict=True))
        sheet = resolve_sheet(self.sample.moved(mass=mass, stiffness=stiffness, loss=loss), self.library)
        single, double = np.zeros(self.places), np.zeros((self.places, len(FILM_M)))
        for stand in self.stands:
            every = levels_of(sheet, stand.pair)
            nominal = replace(every, model=every.model.first(1))
            single[stand.rows] = nominal.single().attenuation_db[0, 0, stand.columns]
            if self.doubles:
                double[stand.rows] = nominal.over_films(1)[0][:, stand.columns].T
        return Levels(single=single, double=double)


@dataclass(frozen=True, kw_only=True)
class Straight:
    """A forward model carried on in straight lines from one point."""

    origin: Array
    base: Levels
    slope: Slopes

    def levels(self, x: Array) -> Levels:
        away = x - self.origin
        return Levels(
            single=self.base.single + np.tensordot(away, self.slope.single, axes=1),
            double=self.base.double + np.tensordot(away, self.slope.double, axes=1),
        )

    def slopes(self, x: Array) -> Slopes:
        return self.slope


def straightened(forward: Forward, x: Array) -> Straight:
    """A forward model as it runs near a point."""
    return Straight(origin=x, base=forward.levels(x), slope=forward.slopes(x))
