"""What a sensing principle must give, whatever it senses.

Signals are oriented so that they grow with sheet: attenuation in dB, thickness, capacitance. Nothing assumes that two
sheets always read more than one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.draws import drawn, sum_of_parabolas
from sheetmargin_service.principles.noise import Floor, Noise
from sheetmargin_service.principles.signal_grid import SignalGrid

Array = NDArray[np.float64]
Scalar = str | int | float | bool | None


@dataclass(frozen=True, kw_only=True)
class Fact:
    """Something worth telling about a class and a sheet: a stable code and its numbers."""

    code: str
    values: dict[str, Scalar]
    source: str | None = None


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Settings that a class offers, flattened: N pairs of gap and tilt. `tilts` is false where tilt means nothing."""

    gap_mm: Array
    tilt_deg: Array
    tilts: bool = True


@dataclass(frozen=True, kw_only=True)
class Receiver:
    """Where band edges may lie at each setting, (N,) each, and the widest band at one gain."""

    lowest_edge: Array
    highest_edge: Array
    widest_band: float


@dataclass(frozen=True, kw_only=True)
class Span:
    """p1, p50 and p99 of one state, each (N,)."""

    p1: Array
    p50: Array
    p99: Array

    def of(self, settings: slice | NDArray[np.intp]) -> Span:
        """The same at some settings."""
        return Span(p1=self.p1[settings], p50=self.p50[settings], p99=self.p99[settings])


@dataclass(frozen=True, kw_only=True)
class SignalTable:
    """One class and one sheet over every setting, with spread to first order: what a search needs.

    `double` is a sheet too many; of plies that are counted it is a ply too many, and `fewer` a ply too few.
    """

    no_sheet: Span
    single: Span
    double: Span
    fewer: Span | None = None

    def of(self, settings: slice | NDArray[np.intp]) -> SignalTable:
        """The same at some settings."""
        return SignalTable(
            no_sheet=self.no_sheet.of(settings),
            single=self.single.of(settings),
            double=self.double.of(settings),
            fewer=None if self.fewer is None else self.fewer.of(settings),
        )

    def at(self, setting: int) -> SignalTable:
        """The same at one setting alone, every span (1,)."""
        return self.of(slice(setting, setting + 1))


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Distribution of one state at one setting, on two levels (see `principles.draws`).

    `nominal` (M,) is the steady signal of M kinds of event, such as films of air, and `weights` (J or 1, M) how often
    each comes in J draws of what is fixed for a job but not known. Each of `unknowns` moves the signal by a parabola,
    slope and bend (M,) over the standard normal variable that is drawn for it. What else differs from event to event
    blurs each by `blur`, a standard deviation, and adds one of `added` (A,), all as likely. `common`: standard
    deviation of what moves every state alike from one teaching to the next. `floor` is what the signal cannot go
    beyond, `noise` what every single reading adds; without it nothing changes within a sheet.
    """

    nominal: Array
    weights: Array
    blur: float
    unknowns: Mapping[str, tuple[Array, Array]] = field(default_factory=dict)
    added: Array = field(default_factory=lambda: np.zeros(1))
    common: float = 0.0
    floor: Floor | None = None
    noise: Noise | None = None

    @cached_property
    def values(self) -> Array:
        """The steady signal in each draw, (J, M); J is 1 where nothing moves it."""
        values = self.nominal[None, :]
        for unknown, (slope, bend) in self.unknowns.items():
            z = drawn(unknown)[:, None]
            values = values + z * slope + z * z * bend
        return values

    def steady(self, grid: SignalGrid) -> Array:
        """Probabilities (count,) of the steady signal on a grid, over drifts and all that is drawn.

        Not over the draws themselves: two or three of them alone would decide where 1 % lies. Unknowns that move the
        signal evenly blur it; the others are integrated over.
        """
        weights = self.weights.mean(axis=0)
        even = [slope for slope, bend in self.unknowns.values() if not bend.any()]
        uneven = [(slope, bend) for slope, bend in self.unknowns.values() if bend.any()]
        moved, shares = sum_of_parabolas(uneven, weights) if uneven else (np.zeros((1, 1)), np.ones(1))
        varies = float(np.sqrt(self.blur**2 + sum(weights @ slope**2 for slope in even)))
        # What a floor does comes between what varies with the sheet and what drifts.
        inner, outer = (varies, self.common) if self.floor else (float(np.hypot(varies, self.common)), 0.0)
        pmf, shared = grid.binned((self.nominal + moved).reshape(1, -1), np.outer(shares, weights).reshape(1, -1))
        pmf = grid.moved(pmf, added=self.added, sigma=float(grid.narrowed(inner, shared=shared[0])))
        if self.floor is not None:
            pmf = grid.blur(self.floor.of(pmf), grid.narrowed(np.array([outer])))
        return np.asarray(pmf[0])


@dataclass(frozen=True, kw_only=True)
class SignalDistribution:
    """One class and one sheet at one setting, with every spread.

    `other`: of a stream in which two numbers of sheets lie on one another in turn, both correct, the other one.
    `moves`: by how much each thing that is not the same every time moves one sheet and two, as standard deviations in
    the signal's unit.
    """

    no_sheet: Spread
    single: Spread
    double: Spread
    fewer: Spread | None = None
    other: Spread | None = None
    moves: Mapping[str, tuple[float, float]] = field(default_factory=dict)


class ClassModel(Protocol):
    """One class under given conditions, ready to be asked about sheets."""

    @property
    def detector_class(self) -> DetectorClass: ...

    @property
    def settings(self) -> Settings: ...

    @property
    def receiver(self) -> Receiver: ...

    def refuses(self, sheet: Sheet) -> Fact | None:
        """Why the principle cannot sense this sheet at all, or None."""

    def signal_table(self, sheet: Sheet) -> SignalTable:
        """Every setting, to first order."""

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        """One setting, with every spread."""

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        """What decides the signal at this setting."""


Asked = tuple[ClassModel, Sheet, int]
"""A class model, a sheet, and one of the class's settings."""


class Principle(Protocol):
    """A way of sensing sheets. `depends_on`: what else than the sheet's number moves it (print, moisture)."""

    id: str
    depends_on: tuple[str, ...]
    quantity: str
    unit: str
    band_step: int
    grid: SignalGrid

    def class_model(self, detector_class: DetectorClass, conditions: Conditions) -> ClassModel | Fact:
        """The class under these conditions, or why it cannot be mounted or used there."""


@runtime_checkable
class Together(Protocol):
    """What a principle has beside `class_model` where its classes share work when they are asked together."""

    def class_models(
        self, detector_classes: Sequence[DetectorClass], conditions: Conditions
    ) -> list[ClassModel | Fact]:
        """`class_model` for each class."""

    def distributions(self, asked: Sequence[Asked]) -> list[SignalDistribution]:
        """`ClassModel.distribution` for each of some class models that were made together."""
