"""An ultrasonic pair on a machine, as it should be and as a fault would make it: what it reads and how often wrongly.

A scenario is the machine with something moved. Its three states are nodes of steady attenuation (the films of air
between two sheets, the phases of standing waves and of what passes beside the sheet) with a Gaussian round each (mass,
flutter, temperature, drift, noise). Chances are sums of normal tails.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.measurement.residuals import floor_sigma_db
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.signal_grid import phase_nodes
from sheetmargin_service.principles.ultrasonic.blocking import blocked_share
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import Pair, pair_at
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.principles.ultrasonic.spreads import ripple_nodes
from sheetmargin_service.selection.time_limit import check_time

Array = NDArray[np.float64]
PHASES = 6


@dataclass(frozen=True, kw_only=True)
class Sound:
    """One sheet and two at one place: attenuations in dB before anything else, of two by what lies between them, or as
    they cling to each other."""

    single_db: float
    double_db: Array
    weights: Array


@dataclass(frozen=True, kw_only=True)
class State:
    """A state as it is heard: `nodes` (K,) with `weights` (K,), each blurred by `sigma` (K,).

    `variance` by what the level varies with: the sheet (from one to the next), temperature, speed (of the line),
    position (of the sheet), time (from reading to reading); and the model's own, which varies with nothing.
    """

    nodes: Array
    weights: Array
    sigma: Array
    variance: Mapping[str, float]

    def above(self, edge: float) -> float:
        """Chance of a reading above an edge."""
        return float(self.weights @ ndtr((self.nodes - edge) / self.sigma))

    def within(self, low: float, high: float) -> float:
        return float(self.weights @ (ndtr((high - self.nodes) / self.sigma) - ndtr((low - self.nodes) / self.sigma)))

    def density(self, value: float, *, sigma: float) -> float:
        """Density of a reading that adds `sigma` of its own."""
        wide = np.hypot(self.sigma, sigma)
        each = np.exp(-0.5 * ((value - self.nodes) / wide) ** 2) / (wide * np.sqrt(2.0 * np.pi))
        return float(self.weights @ each)

    @cached_property
    def median(self) -> float:
        order = np.argsort(self.nodes)
        return float(self.nodes[order][np.searchsorted(np.cumsum(self.weights[order]), 0.5)])

    def share(self, factor: str) -> float:
        """Share of the variance that goes with a factor."""
        total = sum(value for name, value in self.variance.items() if name != "model")
        return self.variance.get(factor, 0.0) / total if total > 0.0 else 0.0


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """The machine as it is in one case.

    Attenuations count from the open path as it was taught. `moves`: standard deviations of one sheet and two by factor.
    `bounce` and `open_bounce`: relative amplitudes of a bounce off a sheet that sends all back, and between the faces.
    `missed` and `stopped`: shares of doubles and of single sheets that timing alone gets wrong.
    """

    sound: Sound
    low: float
    high: float
    loss_db: float = 0.0
    bypass_db: float
    noise_db: float
    overload_db: float | None = None
    crosstalk_db: float | None = None
    bounce: float
    open_bounce: float
    moves: Mapping[str, tuple[float, float]]
    missed: float = 0.0
    stopped: float = 0.0

    def with_moves(self, **more: tuple[float, float]) -> Scenario:
        """The same with more movement by some factors."""
        moves = dict(self.moves)
        for name, (single, double) in more.items():
            old = moves.get(name, (0.0, 0.0))
            moves[name] = (float(np.hypot(old[0], single)), float(np.hypot(old[1], double)))
        return replace(self, moves=moves)

    @cached_property
    def no_sheet(self) -> State:
        ripple = ripple_nodes(self.open_bounce, sides=1)
        drift = {"temperature": self.moves["temperature"][0]}
        return self._state(np.zeros(1), np.ones(1), ripple, drift)

    @cached_property
    def single(self) -> State:
        one = np.array([self.sound.single_db])
        return self._state(one, np.ones(1), self._ripple(one), {name: m[0] for name, m in self.moves.items()})

    @cached_property
    def double(self) -> State:
        two = self.sound.double_db
        moves = {name: m[1] for name, m in self.moves.items()}
        return self._state(two, self.sound.weights, self._ripple(two), moves)

    def _ripple(self, attenuation_db: Array) -> Array:
        passed = 10.0 ** (-0.1 * float(np.median(attenuation_db)))
        return ripple_nodes(self.bounce * float(np.sqrt(max(1.0 - passed, 0.0))), sides=2)

    def _state(self, levels: Array, weights: Array, ripple: Array, moves: Mapping[str, float]) -> State:
        steady = (levels[:, None] + ripple).ravel() + self.loss_db
        share = np.repeat(weights, len(ripple)) / len(ripple)
        variance = {name: value**2 for name, value in moves.items()}
        films = _variance(levels, weights)
        variance["sheet"] = variance.get("sheet", 0.0) + films
        # The phase of a standing wave turns with the place of the sheet as well as with the temperature.
        for factor in ("position", "temperature"):
            variance[factor] = variance.get(factor, 0.0) + 0.5 * float(np.var(ripple))
        for floor_db, factor in ((self.bypass_db, "position"), (self.crosstalk_db, "time")):
            if floor_db is not None:
                before = _variance(steady, share)
                steady, share = _beside(steady, share, floor_db)
                variance[factor] = variance.get(factor, 0.0) + max(_variance(steady, share) - before, 0.0)
        noise = floor_sigma_db(steady, self.noise_db)
        variance["time"] = variance.get("time", 0.0) + float(share @ noise**2)
        heard = -10.0 * np.log10(10.0 ** (-0.1 * steady) + 10.0 ** (-0.1 * self.noise_db))
        fixed = sum(value**2 for value in moves.values())
        return State(
            nodes=heard if self.overload_db is None else np.maximum(heard, self.overload_db),
            weights=share,
            sigma=np.sqrt(fixed + noise**2 + 1e-6),
            variance=variance,
        )

    def share(self, factor: str, *, doubles: bool) -> float:
        """Share of what goes wrong with one sheet, or two, that goes with a factor; timing goes with speed."""
        state, by_timing, rate = self.single, self.stopped, self.rates["single_as_double"]
        if doubles:
            state, by_timing, rate = self.double, self.missed, self.rates["double_as_single"]
        timed = min(1e6 * by_timing / rate, 1.0) if rate > 0.0 else 0.0
        return timed * (factor == "speed") + (1.0 - timed) * state.share(factor)

    @cached_property
    def rates(self) -> Mapping[str, float]:
        """Events per million that go wrong, by what is seen of them on the machine."""
        seen = 1.0 - self.missed
        return {
            "single_as_double": 1e6 * (self.stopped + (1.0 - self.stopped) * self.single.above(self.high)),
            "double_as_single": 1e6 * (1.0 - seen * (1.0 - self.double.within(self.low, self.high))),
            "no_sheet_as_single": 1e6 * self.no_sheet.within(self.low, self.high),
            "no_sheet_as_double": 1e6 * self.no_sheet.above(self.high),
        }


def _variance(nodes: Array, weights: Array) -> float:
    return float(weights @ (nodes - weights @ nodes) ** 2)


def _beside(levels: Array, weights: Array, floor_db: float) -> tuple[Array, Array]:
    """Levels with a steady signal `floor_db` below the open path beside them, at phases alike."""
    signal, other = 10.0 ** (-0.05 * levels), 10.0 ** (-0.05 * floor_db)
    amplitude = np.abs(signal[:, None] + other * np.exp(1j * phase_nodes(PHASES)))
    return (-20.0 * np.log10(amplitude)).ravel(), np.repeat(weights, PHASES) / PHASES


@dataclass(frozen=True, kw_only=True)
class Machine:
    """The pair where it is installed. `healthy` is the scenario with nothing wrong."""

    parameters: UltrasonicParameters
    conditions: Conditions
    sheet: Sheet
    gap_mm: float
    tilt_deg: float
    healthy: Scenario

    def pair(self, *, gap_mm: float, tilt_deg: float) -> Pair:
        return pair_at(self.parameters, self.conditions.mean_air(), gap_mm=(gap_mm,), tilt_deg=(tilt_deg,))

    def sound(self, sheet: Sheet | None = None, *, gap_mm: float | None = None, tilt_deg: float | None = None) -> Sound:
        """What a sheet would read at another gap or tilt; without them, where the pair stands."""
        sheet = sheet or self.sheet
        gap, tilt = self.gap_mm if gap_mm is None else gap_mm, self.tilt_deg if tilt_deg is None else tilt_deg
        return sound_through(sheet, self.pair(gap_mm=gap, tilt_deg=tilt))


def sound_through(sheet: Sheet, pair: Pair) -> Sound:
    """One sheet and two at the one setting of a pair, by the library's own numbers."""
    check_time()
    levels = levels_of(sheet, pair)
    nominal = replace(levels, model=levels.model.first(1))
    apart = nominal.double(1)
    double_db, weights = apart.attenuation_db[0, :, 0], apart.weights
    if sheet.contact == "air":
        clinging, share = nominal.blocked(1), float(blocked_share(sheet).mean())
        double_db = np.concatenate([double_db, clinging.attenuation_db[0, :, 0]])
        weights = np.concatenate([(1.0 - share) * weights, share * clinging.weights])
    return Sound(
        single_db=float(nominal.single().attenuation_db[0].mean(axis=0)[0]), double_db=double_db, weights=weights
    )
