"""What a sensing principle must give, whatever it senses.

Signals are oriented so that they grow with sheet: attenuation in dB, thickness, capacitance. Nothing assumes that two
sheets always read more than one.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Head

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.cached import cached_property
from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.detectors.parameters import Parameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.draws import are_bent, drawn, sum_of_parabolas
from sheetmargin_service.principles.noise import Floor, Noise
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.sound_beam import SoundBeam

Array = NDArray[np.float64]
Scalar = str | int | float | bool | None
P = TypeVar("P", bound=Parameters)


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


@dataclass(frozen=True, kw_only=True, eq=False)
class Spread:
    """Distribution of one state at one setting, on two levels (see `principles.draws`). Known by identity.

    `nominal` (M,) is the steady signal of M kinds of event, such as films of air, and `weights` (J or 1, M) how often
    each comes in J draws of what is fixed for a job but not known. Each of `unknowns` moves the signal by a parabola,
    slope and bend (M,) over the standard normal variable that is drawn for it. What else differs from event to event
    blurs each by `blur`, a standard deviation, and adds one of `added` (A,), all as likely. `common`: standard
    deviation of what moves every state alike from one teaching to the next. `floor` is what the signal cannot go
    beyond, `noise` what every single reading adds; without it nothing changes within a sheet. `beside` (J, M): what the
    parabolas leave out. `floor_steps` (J,): by how many grid points the floor lies further in each draw.
    """

    nominal: Array
    weights: Array
    blur: float
    unknowns: Mapping[str, tuple[Array, Array]] = field(default_factory=dict)
    added: Array = field(default_factory=lambda: np.zeros(1))
    common: float = 0.0
    floor: Floor | None = None
    noise: Noise | None = None
    beside: Array | None = None
    floor_steps: NDArray[np.intp] | None = None
    _spans: dict[SignalGrid, Span] = field(default_factory=dict, init=False, repr=False)

    def span(self, grid: SignalGrid) -> Span:
        """Percentiles of a reading over all that is drawn, (1,) each, by its distribution on a grid."""
        if grid not in self._spans:
            steady = self.steady(grid)[None, :]
            read = steady if self.noise is None else self.noise.read(steady)
            p1, p50, p99 = grid.quantiles(read, (0.01, 0.5, 0.99)).T
            self._spans[grid] = Span(p1=p1, p50=p50, p99=p99)
        return self._spans[grid]

    @cached_property
    def _parabolas(self) -> tuple[Array, Array]:
        """Slopes and bends of all unknowns, (U, M) each."""
        each = np.array([*self.unknowns.values()]).reshape(-1, 2, len(self.nominal))
        return each[:, 0], each[:, 1]

    @property
    def values(self) -> Array:
        """The steady signal in each draw, (J, M); J is 1 where nothing moves it. Computed when it is asked for: a long
        list has thousands."""
        values = self.nominal[None, :]
        if self.unknowns:
            slopes, bends = self._parabolas
            z = np.stack([drawn(unknown) for unknown in self.unknowns], axis=1)
            values = values + z @ slopes + (z * z) @ bends
        return values if self.beside is None else values + self.beside

    def steady(self, grid: SignalGrid) -> Array:
        """Probabilities (count,) of the steady signal on a grid, over drifts and all that is drawn.

        Not over the draws themselves: two or three of them alone would decide where 1 % lies. Unknowns that move the
        signal evenly blur it; the others are integrated over.
        """
        weights = self.weights.mean(axis=0)
        slopes, bends = self._parabolas
        bent = are_bent(slopes, bends)
        values, shares = self.nominal[None, :], np.ones(1)
        if bent.any():
            moved, shares = sum_of_parabolas(slopes[bent], bends[bent], weights)
            values = values + moved
        varies = float(np.sqrt(self.blur**2 + (slopes[~bent] ** 2 @ weights).sum()))
        # What a floor does comes between what varies with the sheet and what drifts.
        inner, outer = (varies, self.common) if self.floor else (float(np.hypot(varies, self.common)), 0.0)
        pmf, shared = grid.binned(values.reshape(1, -1), np.multiply.outer(shares, weights).reshape(1, -1))
        pmf = grid.moved(pmf[0], added=self.added, sigma=float(grid.narrowed(inner, shared=shared[0])))
        if self.floor is not None:
            pmf = grid.moved(self.floor.of(pmf[None, :])[0], sigma=float(grid.narrowed(outer)))
        return pmf


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


@dataclass(frozen=True, kw_only=True)
class Places:
    """Gaps and tilts (rising) of a class that stands there already, and is not to be searched over its own."""

    gap_mm: tuple[float, ...]
    tilt_deg: tuple[float, ...] = (0.0,)


class Principle(ABC, Generic[P]):
    """A way of sensing sheets: what is the same of every class of it, and what a class's parameters tell of the class.

    One instance stands as `PRINCIPLE` in the principle's folder. Beside it lie `texts.toml`, the names of the principle
    and of its quantity, the texts of its codes and the words for what moves its signal, and `reference.toml`, its
    reference classes. `parameters` is the dataclass of what the owner of a catalogue is asked of a class. What a class
    is set by, gaps and perhaps tilts, its model offers (`ClassModel.settings`). `demands`: what its
    classes ask of their owner, what else moves a reading among it. `band_step`: the step in which band edges are set,
    in `unit`.

    What is not true of most has a default that denies it: a tilt, a beam of sound, a gate, a frequency.
    """

    id: str
    parameters: type[P]
    quantity: str
    unit: str
    grid: SignalGrid
    band_step: int = 1
    demands: Demands = Demands()

    @property
    def folder(self) -> str:
        """The package that the principle and its tables lie in."""
        return self.__module__

    def parameters_of(self, detector_class: DetectorClass) -> P:
        """The parameters of a class of this principle."""
        own = detector_class.parameters
        assert isinstance(own, self.parameters)
        return own

    @abstractmethod
    def gap_limits_mm(self, parameters: P) -> tuple[float, float]:
        """Least and greatest gap that a class is made for; the same where it has but one."""

    @abstractmethod
    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        """The class under these conditions, or why it cannot be mounted or used there; at its own gaps and tilts, or at
        those where it stands."""

    def class_models(
        self, detector_classes: Sequence[DetectorClass], conditions: Conditions
    ) -> Sequence[ClassModel | Fact]:
        """`class_model` for each class; classes that are asked together may share work."""
        return [self.class_model(c, conditions) for c in detector_classes]

    def distributions(self, asked: Sequence[Asked]) -> Sequence[SignalDistribution]:
        """`ClassModel.distribution` for each of some class models; those made together may share work."""
        return [class_model.distribution(sheet, setting) for class_model, sheet, setting in asked]

    def head(self, parameters: P) -> Head | None:
        """What either head senses with, as an answer and a drawing tell it; None where that has no description."""
        return None

    def frequency_hz(self, parameters: P) -> float | None:
        """What a class works at; None where it has no frequency."""
        return None

    def detector_kind(self, parameters: P) -> str:
        """Name under which the principle's texts know such a detector, where it has several kinds."""
        return self.id

    def greatest_tilt_deg(self, parameters: P) -> float:
        """The greatest tilt that a class is computed for: 0 where tilt means nothing."""
        return 0.0

    def sound_beam(self, parameters: P, air: Air) -> SoundBeam | None:
        """What mounting, alignment and timing need to know of a pair's beam of sound; None of any other."""
        return None

    def reach_mm(self, parameters: P, *, gap_mm: float) -> float:
        """How far from its axis a class without a beam of sound senses: an edge within it changes the reading."""
        return 0.0

    def echo_mm(self, parameters: P, air: Air) -> float:
        """The distance from which a face's echo off the sheet comes back when the gate has closed; 0 without a gate."""
        return 0.0

    def moved_by_position(
        self, parameters: P, conditions: Conditions, *, places: Places, position_mm: Array, level: float
    ) -> Array:
        """What a sheet's distances from the middle of the gap add to its level, at the first of the places."""
        return np.zeros(len(position_mm))
