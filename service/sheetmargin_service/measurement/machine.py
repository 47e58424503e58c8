"""An ultrasonic pair on a machine, as it should be and as a fault would make it: what it reads and how often wrongly.

A scenario is the machine with something moved. Its three states are distributions of the principle's own kind, with its
floors and its noise, so that a machine with nothing wrong reads what its set-up is computed to read. Two things are its
own: what is not known of the stock is not drawn, as it stays while a machine is looked at, and each part of the spread
is told by what it goes with, since that is what people notice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Spread
from sheetmargin_service.principles.ultrasonic.blocking import blocked_share
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import Pair, pair_at
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.principles.ultrasonic.receiver import bypass_floor, receiver_noise
from sheetmargin_service.principles.ultrasonic.spreads import GRID, ripple_nodes
from sheetmargin_service.selection.time_limit import check_time

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Sound:
    """One sheet and two at one place: attenuations in dB before anything else, of two by what lies between them, or as
    they cling to each other."""

    single_db: float
    double_db: Array
    weights: Array


@dataclass(frozen=True, kw_only=True)
class State:
    """A state as it is heard: `read`, the distribution of one reading on the principle's grid.

    `variance` by what the level varies with: the sheet (from one to the next), temperature, speed (of the line),
    position (of the sheet), time (from reading to reading); and the model's own, which varies with nothing.
    """

    read: Array
    variance: Mapping[str, float]

    def above(self, edge: float) -> float:
        """Chance of a reading above an edge."""
        above = np.append(np.cumsum(self.read[::-1])[::-1], 0.0)
        return float(np.interp(edge, GRID.low + GRID.step * (np.arange(GRID.count + 1) - 0.5), above))

    def within(self, low: float, high: float) -> float:
        return self.above(low) - self.above(high)

    def density(self, value: float, *, sigma: float) -> float:
        """Density of a reading that adds `sigma` of its own."""
        each = np.exp(-0.5 * ((value - GRID.centres) / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
        return float(self.read @ each)

    @cached_property
    def median(self) -> float:
        return float(GRID.quantiles(self.read[None, :], (0.5,))[0, 0])

    def share(self, factor: str) -> float:
        """Share of the variance that goes with a factor."""
        total = sum(value for name, value in self.variance.items() if name != "model")
        return self.variance.get(factor, 0.0) / total if total > 0.0 else 0.0


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """The machine as it is in one case.

    Attenuations count from the open path as it was taught, which lies `open_db` above that at the reference gap.
    `moves`: standard deviations of one sheet and two by factor. `bounce` and `open_bounce`: relative amplitudes of a
    bounce off a sheet that sends all back, and between the faces. `missed` and `stopped`: shares of doubles and of
    single sheets that timing alone gets wrong.
    """

    sound: Sound
    low: float
    high: float
    loss_db: float = 0.0
    open_db: float
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
        """Levels as they are heard. Temperature moves every state alike: the receiver's gain, and all of the air."""
        variance = {name: value**2 for name, value in moves.items()}
        common = moves["temperature"]
        spread = Spread(
            nominal=levels + self.loss_db,
            weights=weights[None, :],
            blur=float(np.sqrt(sum(variance.values()) - common**2)),
            added=ripple,
            common=common,
        )
        noise = receiver_noise(GRID, noise_db=self.noise_db - self.open_db, open_db=self.open_db)
        bypass = bypass_floor(GRID, bypass_db=self.bypass_db - self.open_db, open_db=self.open_db)
        heard = [spread.steady(GRID), replace(spread, floor=bypass).steady(GRID)]
        heard.append(self._beside_neighbours(heard[-1]))
        heard.append(noise.read(heard[-1][None, :])[0])
        spreads = [_variance(GRID.centres, read) for read in heard]
        by_bypass, by_neighbours, by_noise = (max(after - before, 0.0) for before, after in pairwise(spreads))
        # The phase of a standing wave turns with the place of the sheet as well as with the temperature.
        half_ripple = 0.5 * float(np.var(ripple))
        parts = {
            "sheet": _variance(levels, weights),
            "position": half_ripple + by_bypass,
            "temperature": half_ripple,
            "time": by_neighbours + by_noise,
        }
        return State(
            read=self._overloaded(heard[-1]),
            variance={name: variance.get(name, 0.0) + parts.get(name, 0.0) for name in {**variance, **parts}},
        )

    def _beside_neighbours(self, read: Array) -> Array:
        """Readings with the steady sound of neighbours beside them, at phases alike."""
        if self.crosstalk_db is None:
            return read
        return np.asarray(bypass_floor(GRID, bypass_db=self.crosstalk_db, open_db=0.0).of(read[None, :])[0])

    def _overloaded(self, read: Array) -> Array:
        """Readings where what is too strong reads all alike."""
        if self.overload_db is None:
            return read
        first = int(np.searchsorted(GRID.centres, self.overload_db))
        return np.concatenate([np.zeros(first), read[: first + 1].sum(keepdims=True), read[first + 1 :]])

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
