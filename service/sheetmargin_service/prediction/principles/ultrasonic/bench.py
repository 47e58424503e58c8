"""One ultrasonic class under given conditions: what moves its reading, to first order and in full."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, spence

from sheetmargin_service.acoustics.air import absorption_db_per_m
from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import VARIANTS
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.grid import REACH, SignalGrid, phase_nodes
from sheetmargin_service.prediction.noise import Noise
from sheetmargin_service.prediction.principles.base import Detail, Fact, Receiver, Settings, Span, Spread, Survey
from sheetmargin_service.prediction.principles.ultrasonic.facts import facts_of
from sheetmargin_service.prediction.principles.ultrasonic.levels import AIR_BELIEF, Branches, Levels, levels_of
from sheetmargin_service.prediction.principles.ultrasonic.pair import Pair
from sheetmargin_service.prediction.principles.ultrasonic.receiver import add_powers_db, receiver_noise, with_bypass
from sheetmargin_service.prediction.principles.ultrasonic.responses import (
    VARIANT_WEIGHTS,
    mass_step,
)

Array = NDArray[np.float64]
Z99 = 2.3263478740408408
HALF_WIDTH_95 = 1.959963984540054
GRID = SignalGrid(low=-20.0, step=0.5, count=360)
RIPPLE_PHASES = 4
FAR_DB = 40.0
"""A bypass this far below the signal moves it by less than 0.1 dB."""
LEAST_BOUNCE = 0.01
"""A bounce below this moves the level by less than 0.1 dB."""
DB_PER_NEPER = 20.0 / np.log(10.0)


@dataclass(frozen=True, kw_only=True)
class UltrasonicBench:
    """One ultrasonic class under given conditions. N settings: those of its operators that fit the line (`keep`)."""

    detector_class: DetectorClass
    pair: Pair
    conditions: Conditions
    keep: NDArray[np.intp]
    _looks: dict[int, Look] = field(default_factory=dict)
    _noises: dict[int, Noise] = field(default_factory=dict)

    @property
    def parameters(self) -> UltrasonicParameters:
        return self.pair.parameters

    @cached_property
    def settings(self) -> Settings:
        return Settings(gap_mm=self.pair.gap_mm[self.keep], tilt_deg=self.pair.tilt_deg[self.keep])

    @cached_property
    def _open_db(self) -> Array:
        return self.pair.open_db[self.keep]

    @cached_property
    def floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        return self.parameters.bypass_db + self._open_db, self.parameters.noise_db + self._open_db

    @cached_property
    def receiver(self) -> Receiver:
        p = self.parameters
        overload, noise = p.overload_db + self._open_db, p.noise_db + self._open_db
        return Receiver(
            lowest_edge=np.maximum(overload, 0.0) + 1.0,
            highest_edge=np.minimum(overload + p.gain_range_db + p.span_db, noise),
            widest_band=p.span_db,
        )

    @cached_property
    def _common_variance(self) -> Array:
        """Variance in dB^2 of what moves every state alike: drift since taught, and the air's absorption, (N,)."""
        p = self.parameters
        swing = absorption_swing_db_per_m(p.frequency_hz, self.conditions) * self.settings.gap_mm * 1e-3
        return np.asarray((p.drift_db / HALF_WIDTH_95) ** 2 + swing**2 / 12.0)

    def bounce_amplitude(self, attenuation_db: Array) -> Array:
        """Relative amplitude of a bounce between a face and the sheet: what does not pass comes back, (N,)."""
        passed = 10.0 ** (-0.1 * attenuation_db)
        return np.asarray(self.pair.rigid_bounce[self.keep] * np.sqrt(np.clip(1.0 - passed, 0.0, 1.0)))

    def look(self, sheet: Sheet) -> Look:
        """What is known of a sheet before this bench, computed once."""
        key = id(sheet)
        if key not in self._looks:
            self._looks[key] = Look(bench=self, sheet=sheet)
        return self._looks[key]

    def refuses(self, sheet: Sheet) -> Fact | None:
        return None

    def flutter_variance(self, attenuation: Array) -> Array:
        """Variance from the angle of the sheet, (all settings): by slope, and by curvature where there is no tilt."""
        tilts = np.degrees(self.pair.operator.tilt_rad)
        by_tilt = attenuation.reshape(-1, len(tilts))
        sigma = self.conditions.flutter_deg / HALF_WIDTH_95
        step = tilts[1] - tilts[0]
        rise = np.diff(by_tilt, axis=1)
        deviation = np.empty_like(by_tilt)
        deviation[:, 1:-1] = (0.5 * sigma / step) * np.abs(rise[:, 1:] + rise[:, :-1])
        deviation[:, -1] = (sigma / step) * np.abs(rise[:, -1])
        deviation[:, 0] = (sigma / step) ** 2 * np.abs(rise[:, 0])
        return np.asarray(deviation.ravel() ** 2)

    def survey(self, sheet: Sheet) -> Survey:
        look = self.look(sheet)
        one, levels = look.single, look.levels.searching()
        pair = levels.double(1)
        ripple = 2.0 * ripple_variance(self.bounce_amplitude(one.mean))
        common = self._common_variance + ripple
        single = self._span(one.branches, one.mean, np.sqrt(common + one.variance + one.model_variance))
        # The masses of two sheets vary apart; what the model does not know is the same for both.
        double = self._span(self._kept(pair), None, np.sqrt(common + 2.0 * one.variance + 4.0 * one.model_variance))
        spread = Z99 * np.sqrt(self._common_variance + ripple_variance(self.pair.open_bounce[self.keep]))
        fewer = None
        if sheet.plies > 1:
            fewer = self._span(self._kept(levels.fewer(1)), None, np.sqrt(common + one.variance + one.model_variance))
        return Survey(
            no_sheet=Span(p1=-spread, p50=np.zeros_like(spread), p99=spread),
            single=single,
            double=double,
            fewer=fewer,
        )

    def _kept(self, branches: Branches) -> Branches:
        return Branches(attenuation_db=branches.attenuation_db[..., self.keep], weights=branches.weights)

    def _span(self, branches: Branches, mean: Array | None, sigma: Array) -> Span:
        """Percentiles of nominal branches with a Gaussian spread, `mean` their centre where it is known better, read
        above the floors."""
        nodes, weights = branches.attenuation_db[0], branches.weights[0]
        if mean is not None:
            nodes = nodes + (mean - weights @ nodes)
        quantiles = np.stack(mixture_quantiles(nodes, weights, sigma))
        p1, p50, p99 = add_powers_db(quantiles, *self.floors_db)
        return Span(p1=p1, p50=p50, p99=p99)

    def detail(self, sheet: Sheet, setting: int) -> Detail:
        look = self.look(sheet)
        one, levels = look.single, look.levels.at_setting(int(self.keep[setting]))
        ripple = ripple_nodes(self.bounce_amplitude(one.mean)[setting], sides=2)
        variance = float(one.variance[setting])
        single = Branches(attenuation_db=one.branches.attenuation_db[..., setting, None], weights=one.branches.weights)
        double = levels.double(len(VARIANTS))
        return Detail(
            no_sheet=self._spread(
                Branches(attenuation_db=np.zeros((1, 1, 1)), weights=np.ones((1, 1))),
                ripple=ripple_nodes(self.pair.open_bounce[self.keep][setting], sides=1),
                variance=0.0,
                setting=setting,
                weights=np.ones(1),
            ),
            single=self._spread(single, ripple=ripple, variance=variance, setting=setting),
            double=self._spread(double, ripple=ripple, variance=2.0 * variance, setting=setting),
            fewer=None
            if sheet.plies == 1
            else self._spread(levels.fewer(len(VARIANTS)), ripple=ripple, variance=variance, setting=setting),
            moves=self._moves(one, double, setting),
        )

    def _moves(self, one: Single, double: Branches, setting: int) -> dict[str, tuple[float, float]]:
        """Standard deviations of one sheet and two, by what causes them."""
        nodes, weights = double.attenuation_db[0, :, 0], double.weights[0]
        film = float(np.sqrt(weights @ (nodes - weights @ nodes) ** 2))
        ripple = float(2.0 * ripple_variance(self.bounce_amplitude(one.mean))[setting]) ** 0.5
        drift = self.parameters.drift_db / HALF_WIDTH_95
        air = max(float(self._common_variance[setting]) - drift**2, 0.0) ** 0.5
        mass, flutter, model = (
            float(v[setting]) ** 0.5 for v in (one.mass_variance, one.flutter_variance, one.model_variance)
        )
        return {
            "grammage": (mass, mass * 2.0**0.5),
            "flutter": (flutter, flutter * 2.0**0.5),
            "stiffness-and-loss": (model, 2.0 * model),
            "trapped-air": (0.0, film),
            "standing-wave": (ripple, ripple),
            "drift": (drift, drift),
            "air": (air, air),
        }

    def _spread(
        self, branches: Branches, *, ripple: Array, variance: float, setting: int, weights: Array = VARIANT_WEIGHTS
    ) -> Spread:
        """Branches (V, K, 1) of true attenuation with their ripple, blurred, with the bypass, and moved by what moves
        every state."""
        nodes = (branches.attenuation_db + ripple).reshape(len(branches.attenuation_db), -1)
        each = np.repeat(branches.weights, len(ripple), axis=1) / len(ripple)
        # One thing at a time: every variant with the air as it is, then the nominal one with the air's alternatives.
        others = len(each) - 1
        each = np.concatenate([np.broadcast_to(each[0], nodes.shape), each[1:]])
        nodes = np.concatenate([nodes, np.broadcast_to(nodes[0], (others, nodes.shape[1]))])
        belief = np.concatenate([weights * (1.0 - others * AIR_BELIEF), np.full(others, AIR_BELIEF)])
        rows = np.ones(len(nodes))
        p, open_db, common = self.parameters, float(self._open_db[setting]), float(self._common_variance[setting])
        if float(nodes.max()) + REACH * np.sqrt(variance) < p.bypass_db + open_db - FAR_DB:
            pmf = GRID.spread(nodes, each, np.sqrt(variance + common) * rows)
        else:
            pmf = GRID.spread(nodes, each, np.sqrt(variance) * rows)
            pmf = with_bypass(pmf, GRID, bypass_db=p.bypass_db, open_db=open_db)
            pmf = GRID.blur(pmf, GRID.narrowed(np.sqrt(common)) * rows)
        return Spread(variants=pmf, weights=belief, noise=self._noise(setting))

    def _noise(self, setting: int) -> Noise:
        """The receiver's noise, one object for every state of a setting."""
        if setting not in self._noises:
            open_db = float(self._open_db[setting])
            self._noises[setting] = receiver_noise(GRID, noise_db=self.parameters.noise_db, open_db=open_db)
        return self._noises[setting]

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return facts_of(self, sheet, setting)


@dataclass(frozen=True, kw_only=True)
class Look:
    """One sheet before one bench."""

    bench: UltrasonicBench
    sheet: Sheet

    @cached_property
    def levels(self) -> Levels:
        """The sheet before all of the operator's settings, those that do not fit included."""
        return levels_of(self.sheet, self.bench.pair)

    @cached_property
    def single(self) -> Single:
        """One correct sheet at every setting."""
        sheet, keep = self.sheet, self.bench.keep
        branches = self.levels.single()
        every = np.tensordot(branches.weights[0], branches.attenuation_db, axes=(0, 1))
        count = len(VARIANT_WEIGHTS)
        variants, (lighter, heavier) = every[:count], every[count:]
        slope = (heavier - lighter) / (2.0 * mass_step(sheet))
        mass = np.hypot(sheet.mass_tolerance_pct, sheet.formation_pct) / HALF_WIDTH_95 / 100.0
        mean = VARIANT_WEIGHTS @ variants
        mass_variance = (slope * mass) ** 2 / sheet.plies
        flutter_variance = self.bench.flutter_variance(variants[0])
        return Single(
            branches=Branches(attenuation_db=branches.attenuation_db[:count][..., keep], weights=branches.weights),
            mean=mean[keep],
            mass_variance=mass_variance[keep],
            flutter_variance=flutter_variance[keep],
            model_variance=(VARIANT_WEIGHTS @ (variants - mean) ** 2)[keep],
        )


@dataclass(frozen=True, kw_only=True)
class Single:
    """One sheet at N settings: attenuation by variant and branch (V, K, N), its mean, and its variances (N,)."""

    branches: Branches
    mean: Array
    mass_variance: Array
    flutter_variance: Array
    model_variance: Array

    @property
    def variance(self) -> Array:
        """What varies from sheet to sheet, (N,)."""
        return self.mass_variance + self.flutter_variance


@lru_cache(maxsize=1024)
def absorption_swing_db_per_m(frequency_hz: float, conditions: Conditions) -> float:
    """By how much the absorption of the air differs over the corners of the conditions."""
    per_m = [float(absorption_db_per_m(frequency_hz=frequency_hz, air=air)) for air in conditions.corner_airs()]
    return max(per_m) - min(per_m)


def ripple_variance(bounce: Array) -> Array:
    """Variance in dB^2 of -20 lg|1 - x e^(i phase)| over a uniform phase: (20/ln 10)^2 Li2(x^2)/2; its mean is 0."""
    return np.asarray(0.5 * DB_PER_NEPER**2 * spence(1.0 - np.square(bounce)))


def ripple_nodes(bounce: float, *, sides: int) -> Array:
    """Attenuations in dB that bounces on one side or both add, equally likely, the phases of both sides independent."""
    if bounce < LEAST_BOUNCE:
        return np.zeros(1)
    one = DB_PER_NEPER * np.log(np.abs(1.0 - bounce * np.exp(1j * phase_nodes(RIPPLE_PHASES))))
    return np.asarray(one if sides == 1 else (one[:, None] + one).ravel())


def mixture_quantiles(nodes: Array, weights: Array, sigma: Array) -> tuple[Array, Array, Array]:
    """p1, p50 and p99 (N,) of a mixture of Gaussians at `nodes` (K, N) with `weights` (K,) and one `sigma` (N,).

    p1 decides about two sheets: five halvings of the nodes' range, then a straight line, about 0.1 dB. The others are
    the nodes' own, p99 a Gaussian's reach above.
    """
    if len(nodes) == 1:
        middle = nodes[0]
        return middle - Z99 * sigma, middle, middle + Z99 * sigma
    order = np.argsort(nodes, axis=0)
    share = np.cumsum(weights[order], axis=0)
    columns = np.arange(nodes.shape[1])
    p50, p99 = (nodes[order[np.argmax(share >= q, axis=0), columns], columns] for q in (0.5, 0.99 - 1e-9))
    low, high = nodes.min(axis=0) - 1.05 * Z99 * sigma, nodes.max(axis=0)
    scaled, inverse = nodes / sigma, 1.0 / sigma
    share_low, share_high = np.zeros_like(low), np.ones_like(high)
    for _ in range(5):
        place = 0.5 * (low + high)
        here = weights @ ndtr(place * inverse - scaled)
        below = here < 0.01
        low, share_low = np.where(below, place, low), np.where(below, here, share_low)
        high, share_high = np.where(below, high, place), np.where(below, share_high, here)
    line = np.clip((0.01 - share_low) / np.maximum(share_high - share_low, 1e-12), 0.0, 1.0)
    return low + line * (high - low), p50, p99 + Z99 * sigma
