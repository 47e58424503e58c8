"""What a sample would read at some places, for any mass, stiffness, loss and film of air: a fit's forward model.

The levels are the principle's. Their spread is not: what spreads the readings of a stock, its mass, its constants, the
film of air in each specimen, is what a fit looks for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.measurement.reading import Setting
from sheetmargin_service.measurement.sample import Sample
from sheetmargin_service.principles.ultrasonic import PRINCIPLE as ULTRASONIC
from sheetmargin_service.principles.ultrasonic.films import FILM_M
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import Pair, pair_at
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.selection.time_limit import check_time

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

Array = NDArray[np.float64]
MASS, STIFFNESS, LOSS = range(3)
STEP = 0.1
"""Relative step by which the slopes of mass and loss are taken."""
TABLE_REACH, TABLE_NODES, SLOPE_EVERY = 3.0, 13, 2
"""The table runs over so many standard deviations of stiffness either way; slopes are taken at every second node."""


@dataclass(frozen=True, kw_only=True)
class Levels:
    """Attenuation in dB at P places before floors: of one sheet (P,), and of two with each film of `FILM_M` (P, K)."""

    single: Array
    double: Array


@dataclass(frozen=True, kw_only=True)
class Slopes:
    """What one standard deviation of each of some parameters adds, along an axis of its own in front."""

    single: Array
    double: Array


class Forward(Protocol):
    """Levels of a sheet whose mass, stiffness and loss are `x` (3,) standard deviations from the library's."""

    def levels(self, x: Array) -> Levels: ...

    def slopes(self, x: Array) -> Slopes: ...


@dataclass(frozen=True, kw_only=True)
class PairAtSettings:
    """One class at its places: `rows` are their positions among all places, `columns` those in the pair's settings."""

    pair: Pair
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]


def pairs_at(
    settings: Sequence[Setting], classes: dict[str, UltrasonicParameters], air: Air
) -> tuple[PairAtSettings, ...]:
    """The classes of some places, each with the gaps and tilts that it is read at."""
    pairs = []
    for name, parameters in classes.items():
        rows = [row for row, setting in enumerate(settings) if setting[0] == name]
        gaps = sorted({settings[row][1] for row in rows})
        tilts = sorted({settings[row][2] for row in rows})
        pair = pair_at(parameters, air, gap_mm=tuple(gaps), tilt_deg=tuple(tilts))
        columns = [gaps.index(settings[row][1]) * len(tilts) + tilts.index(settings[row][2]) for row in rows]
        pairs.append(PairAtSettings(pair=pair, rows=np.array(rows), columns=np.array(columns)))
    return tuple(pairs)


@dataclass(frozen=True, kw_only=True)
class Physics:
    """The levels as they are computed. Without `doubles` two are left at 0."""

    sample: Sample
    pairs: tuple[PairAtSettings, ...]
    settings: int
    library: Library
    doubles: bool

    def levels(self, x: Array) -> Levels:
        check_time()
        mass, stiffness, loss = (p.at(value) / p.nominal for p, value in zip(self.sample.solid, x, strict=True))
        sheet = resolve_sheet(self.sample.moved(mass=mass, stiffness=stiffness, loss=loss), self.library)
        single, double = np.zeros(self.settings), np.zeros((self.settings, len(FILM_M)))
        for at in self.pairs:
            every = levels_of(sheet, at.pair)
            nominal = replace(every, model=every.model.first(1))
            single[at.rows] = nominal.single().attenuation_db[0, 0, at.columns]
            if self.doubles:
                double[at.rows] = nominal.over_films(1)[0][:, at.columns].T
        return Levels(single=single, double=double)


@dataclass(frozen=True, kw_only=True)
class Straight:
    """Levels that run straight in mass and loss from those at one stiffness: slopes (2, ...) of these two."""

    base: Levels
    slope: Slopes

    def levels(self, x: Array) -> Levels:
        mass, loss = x[MASS], x[LOSS]
        return Levels(
            single=self.base.single + mass * self.slope.single[0] + loss * self.slope.single[1],
            double=self.base.double + mass * self.slope.double[0] + loss * self.slope.double[1],
        )

    def slopes(self, x: Array) -> Slopes:
        return Slopes(single=_without_stiffness(self.slope.single), double=_without_stiffness(self.slope.double))


def _without_stiffness(slope: Array) -> Array:
    return np.insert(slope, STIFFNESS, 0.0, axis=0)


@dataclass(frozen=True, kw_only=True)
class Tabled:
    """Levels tabled over stiffness, which may move them by resonances, as splines: of one sheet (P,) and of two (P, K),
    and of what mass and loss add to them, (2, ...)."""

    single: CubicSpline
    double: CubicSpline
    single_slope: CubicSpline
    double_slope: CubicSpline

    def at_stiffness(self, x: float) -> Straight:
        """The levels with the stiffness held at `x` of its standard deviations."""
        return Straight(
            base=Levels(single=self.single(x), double=self.double(x)),
            slope=Slopes(single=self.single_slope(x), double=self.double_slope(x)),
        )


def tabled(physics: Physics) -> Tabled:
    """The table of a sample before its places."""
    nodes = np.linspace(-TABLE_REACH, TABLE_REACH, TABLE_NODES)
    if physics.sample.solid[STIFFNESS].sigma == 0.0:
        # Nothing moves with it: any nodes do.
        levels = [physics.levels(np.zeros(3))] * TABLE_NODES
    else:
        levels = [physics.levels(_at_stiffness(x)) for x in nodes]
    from scipy.interpolate import CubicSpline

    every = slice(None, None, SLOPE_EVERY)
    slopes = [_slopes(physics, _at_stiffness(x), here) for x, here in zip(nodes[every], levels[every], strict=True)]
    return Tabled(
        single=CubicSpline(nodes, np.array([one.single for one in levels])),
        double=CubicSpline(nodes, np.array([one.double for one in levels])),
        single_slope=CubicSpline(nodes[every], np.array([one.single for one in slopes])),
        double_slope=CubicSpline(nodes[every], np.array([one.double for one in slopes])),
    )


def _at_stiffness(x: float) -> Array:
    setting = np.zeros(3)
    setting[STIFFNESS] = x
    return setting


def _slopes(physics: Physics, x: Array, here: Levels) -> Slopes:
    """What one standard deviation of mass and of loss adds."""
    single, double = np.zeros((2, *here.single.shape)), np.zeros((2, *here.double.shape))
    for row, index in enumerate((MASS, LOSS)):
        sigma = physics.sample.solid[index].sigma
        if sigma > 0.0:
            step = np.zeros(3)
            step[index] = STEP / sigma
            there = physics.levels(x + step)
            single[row] = (there.single - here.single) / step[index]
            double[row] = (there.double - here.double) / step[index]
    return Slopes(single=single, double=double)


def ultrasonic(detector_class: DetectorClass, *, field: str) -> UltrasonicParameters:
    """The parameters of an ultrasonic class; QuestionError for any other."""
    if detector_class.principle != ULTRASONIC.id:
        raise QuestionError(
            code="not-ultrasonic",
            field=field,
            detail=Filled(
                "Readings can be explained of ultrasonic classes only; {name} is none.", name=detector_class.id
            ),
            expected="an ultrasonic class",
        )
    return ULTRASONIC.parameters_of(detector_class)
