"""Ultrasonic classes under the same conditions, asked about a sheet together: what moves their readings, to first order
and in full. Arrays over settings (N,) hold those of all classes that fit the line, class by class."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import absorption_db_per_m
from sheetmargin_service.constants import HALF_WIDTH_95, Z99
from sheetmargin_service.detectors.model import UltrasonicParameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import VARIANTS
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.principles.base import Detail, Receiver, Settings, Span, Spread, Survey
from sheetmargin_service.prediction.principles.ultrasonic.levels import ONE, Branches, Levels, levels_before
from sheetmargin_service.prediction.principles.ultrasonic.pair import Row, row_in_air
from sheetmargin_service.prediction.principles.ultrasonic.receiver import (
    bypass_floor,
    read_percentiles,
    receiver_noise,
)
from sheetmargin_service.prediction.principles.ultrasonic.responses import VARIANT_WEIGHTS, mass_step
from sheetmargin_service.prediction.principles.ultrasonic.spreads import (
    GRID,
    Cloud,
    mixture_quantiles,
    nodes_of,
    ripple_nodes,
    ripple_variance,
    spreads_of,
)
from sheetmargin_service.prediction.principles.ultrasonic.tilts import Run, run_over_settings

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """Pairs of a row under given conditions. `keep` (N,): the row's settings that fit the line."""

    row: Row
    conditions: Conditions
    keep: Indices
    _open: dict[int, Spread] = field(default_factory=dict)

    @cached_property
    def settings(self) -> tuple[slice, ...]:
        """Each pair's part of the settings."""
        ends = np.searchsorted(self.keep, [settings[-1] + 1 for settings in self.row.settings])
        return tuple(slice(start, end) for start, end in zip([0, *ends[:-1]], ends, strict=True))

    @cached_property
    def open_db(self) -> Array:
        """Open path relative to the one at the reference gap, (N,)."""
        return self.row.open_db[self.keep]

    @cached_property
    def offers(self) -> tuple[Settings, ...]:
        """What each pair offers."""
        gap_mm, tilt_deg = self.row.gap_mm[self.keep], self.row.tilt_deg[self.keep]
        return tuple(Settings(gap_mm=gap_mm[part], tilt_deg=tilt_deg[part]) for part in self.settings)

    @cached_property
    def receivers(self) -> tuple[Receiver, ...]:
        """Where each pair's band edges may lie."""
        return tuple(
            receiver_of(pair.parameters, self.open_db[part])
            for pair, part in zip(self.row.pairs, self.settings, strict=True)
        )

    def per_setting(self, values: Sequence[float]) -> Array:
        """One value for each pair, at each of its settings, (N,)."""
        return self.row.per_setting(values)[self.keep]

    @cached_property
    def _bypass_db(self) -> Array:
        return self.per_setting([pair.parameters.bypass_db for pair in self.row.pairs])

    @cached_property
    def _noise_db(self) -> Array:
        return self.per_setting([pair.parameters.noise_db for pair in self.row.pairs])

    @cached_property
    def floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        return self._bypass_db + self.open_db, self._noise_db + self.open_db

    @cached_property
    def _drift_variance(self) -> Array:
        return np.square(self.per_setting([pair.parameters.drift_db for pair in self.row.pairs]) / HALF_WIDTH_95)

    @cached_property
    def _air_variance(self) -> Array:
        """Variance in dB^2 from the air's absorption, which may lie anywhere in its range, (N,)."""
        swing = [absorption_swing_db_per_m(p.parameters.frequency_hz, self.conditions) for p in self.row.pairs]
        return np.square(self.per_setting(swing) * self.row.gap_mm[self.keep] * 1e-3) / 12.0

    @cached_property
    def common_variance(self) -> Array:
        """Variance in dB^2 of what moves every state alike: drift since taught, and the air's absorption, (N,)."""
        return self._drift_variance + self._air_variance

    @cached_property
    def open_span(self) -> Span:
        """No sheet: its spread to first order."""
        spread = Z99 * np.sqrt(self.common_variance + ripple_variance(self.row.open_bounce[self.keep]))
        return Span(p1=-spread, p50=np.zeros_like(spread), p99=spread)

    def bounce_amplitude(self, attenuation_db: Array) -> Array:
        """Relative amplitude of a bounce between a face and the sheet: what does not pass comes back, (N,)."""
        passed = 10.0 ** (-0.1 * attenuation_db)
        return np.asarray(self.row.rigid_bounce[self.keep] * np.sqrt(np.clip(1.0 - passed, 0.0, 1.0)))

    @cached_property
    def _run(self) -> Run:
        """Where to read how a level runs over the tilt, at all of the row's settings.

        Raises ValueError where a setting that is kept lacks the places to read it at.
        """
        operators = [pair.operator for pair in self.row.pairs]
        run = run_over_settings([np.degrees(o.tilt_rad) for o in operators], [len(o.gap_m) for o in operators])
        if not run.known[self.keep].all():
            raise ValueError("a pair lacks the tilts that tell how a level runs over the angle")
        return run

    def flutter_variance(self, attenuation: Array) -> Array:
        """Variance from the angle of the sheet, at all of the row's settings: by slope, and by curvature, which is all
        that there is square on."""
        sigma = self.conditions.flutter_deg / HALF_WIDTH_95
        slope, curvature = self._run.slope_and_curvature(attenuation)
        return np.asarray((sigma * slope) ** 2 + (0.5 * sigma**2 * curvature) ** 2)

    def details(self, asked: Sequence[tuple[Look, int]]) -> list[Detail]:
        """Sheets, each at one setting, with every spread."""
        settings: dict[int, list[int]] = defaultdict(list)
        for look, setting in asked:
            settings[id(look)].append(setting)
        looks = {id(look): look for look, _ in asked}
        pairs = {key: looks[key].at_settings(settings[key]) for key in settings}
        # No sheet changes what is read without one.
        new = [setting for setting in dict.fromkeys(setting for _, setting in asked) if setting not in self._open]
        clouds, moves = [self._open_cloud(setting) for setting in new], []
        for look, setting in asked:
            place = settings[id(look)].index(setting)
            double, fewer = pairs[id(look)]
            moves.append(look.moves(double.at(place), setting))
            clouds.append(look.cloud(look.single.branches.at(setting), setting, times=1.0))
            clouds.append(look.cloud(double.at(place), setting, times=look.double_times))
            if fewer is not None:
                clouds.append(look.cloud(fewer.at(place), setting, times=1.0))
        spreads = spreads_of(clouds)
        self._open.update(zip(new, spreads[: len(new)], strict=True))
        following = iter(spreads[len(new) :])
        return [
            Detail(
                no_sheet=self._open[setting],
                single=next(following),
                double=next(following),
                fewer=next(following) if look.sheet.fewer_plies else None,
                moves=moved,
            )
            for (look, setting), moved in zip(asked, moves, strict=True)
        ]

    def _open_cloud(self, setting: int) -> Cloud:
        open_path = Branches(attenuation_db=np.zeros((1, 1, 1)), weights=ONE)
        ripple = ripple_nodes(self.row.open_bounce[self.keep[setting]], sides=1)
        return self.cloud(nodes_of(open_path, ripple, np.ones(1)), setting, variance=0.0)

    def cloud(self, nodes: tuple[Array, Array, Array], setting: int, *, variance: float) -> Cloud:
        """Nodes, weights and belief before the receiver at a setting."""
        open_db = float(self.open_db[setting])
        return Cloud(
            nodes=nodes[0],
            weights=nodes[1],
            belief=nodes[2],
            variance=variance,
            common=float(self.common_variance[setting]),
            bypass=bypass_floor(GRID, bypass_db=float(self._bypass_db[setting]), open_db=open_db),
            noise=receiver_noise(GRID, noise_db=float(self._noise_db[setting]), open_db=open_db),
        )

    def span(self, branches: Branches, mean: Array | None, sigma: Array) -> Span:
        """Percentiles of nominal branches (1, K, N) with a Gaussian spread, `mean` their centre where it is known
        better, as one reading has them beside the floors."""
        nodes, weights = branches.attenuation_db[0], branches.weights[0]
        if mean is not None:
            nodes = nodes + (mean - weights @ nodes)
        bypass_db, noise_db = self.floors_db
        p1, p50, p99 = read_percentiles(
            *mixture_quantiles(nodes, weights, sigma), bypass_db=bypass_db, noise_db=noise_db
        )
        return Span(p1=p1, p50=p50, p99=p99)

    def causes(self, setting: int) -> tuple[float, float]:
        """Standard deviations of drift and of the air's absorption at a setting."""
        return float(self._drift_variance[setting]) ** 0.5, float(self._air_variance[setting]) ** 0.5


@lru_cache(maxsize=16)
def fleet_under(parameters: tuple[UltrasonicParameters, ...], conditions: Conditions) -> Fleet:
    """Some classes under given conditions, at the settings that are searched."""
    row = row_in_air(parameters, conditions.mean_air())
    return Fleet(row=row, conditions=conditions, keep=np.flatnonzero(row.tilt_deg <= conditions.max_tilt_deg + 1e-9))


@dataclass(frozen=True, kw_only=True)
class Look:
    """One sheet before one fleet."""

    fleet: Fleet
    sheet: Sheet

    @cached_property
    def levels(self) -> Levels:
        """The sheet before all of the row's settings, those that do not fit included."""
        return levels_before(self.sheet, self.fleet.row)

    @cached_property
    def single(self) -> Single:
        """One correct sheet at every setting."""
        sheet, keep = self.sheet, self.fleet.keep
        branches = self.levels.single()
        every = np.tensordot(branches.weights[0], branches.attenuation_db, axes=(0, 1))
        count = len(VARIANT_WEIGHTS)
        variants, (lighter, heavier) = every[:count], every[count:]
        slope = (heavier - lighter) / (2.0 * mass_step(sheet))
        mass = np.hypot(sheet.mass_tolerance_pct, sheet.formation_pct) / HALF_WIDTH_95 / 100.0
        mean = VARIANT_WEIGHTS @ variants
        mass_variance = (slope * mass) ** 2 / sheet.plies
        flutter_variance = self.fleet.flutter_variance(variants[0])
        return Single(
            branches=Branches(attenuation_db=branches.attenuation_db[:count, :, keep], weights=branches.weights),
            mean=mean[keep],
            mass_variance=mass_variance[keep],
            flutter_variance=flutter_variance[keep],
            model_variance=(VARIANT_WEIGHTS @ (variants - mean) ** 2)[keep],
        )

    @property
    def double_times(self) -> float:
        """How many times the plies of a correct sheet a double has."""
        return self.sheet.double_plies / self.sheet.plies

    @cached_property
    def _bounce(self) -> Array:
        return self.fleet.bounce_amplitude(self.single.mean)

    @cached_property
    def _ripple_variance(self) -> Array:
        return 2.0 * ripple_variance(self._bounce)

    @cached_property
    def survey(self) -> Survey:
        """Every setting, to first order."""
        fleet, one, levels = self.fleet, self.single, self.levels.searching()
        common = fleet.common_variance + self._ripple_variance
        alone = np.sqrt(common + one.variance + one.model_variance)
        # The masses of plies vary apart; what the model does not know is the same for all.
        times = self.double_times
        together = np.sqrt(common + times * one.variance + times**2 * one.model_variance)
        fewer = levels.fewer(1) if self.sheet.fewer_plies else None
        return Survey(
            no_sheet=fleet.open_span,
            single=fleet.span(one.branches, one.mean, alone),
            double=fleet.span(levels.double(1).some(fleet.keep), None, together),
            fewer=None if fewer is None else fleet.span(fewer.some(fleet.keep), None, alone),
        )

    def at_settings(self, settings: Sequence[int]) -> tuple[Branches, Branches | None]:
        """Two sheets, and a ply fewer of several, in every variant at some settings."""
        fleet = self.fleet
        places = []
        for setting in settings:
            place = int(fleet.keep[setting])
            pair = next(p for p, part in enumerate(fleet.settings) if part.start <= setting < part.stop)
            places.append((pair, place - int(fleet.row.settings[pair][0])))
        levels = self.levels.at_settings(places)
        return levels.double(len(VARIANTS)), levels.fewer(len(VARIANTS)) if self.sheet.fewer_plies else None

    def cloud(self, branches: Branches, setting: int, *, times: float) -> Cloud:
        """Branches (V, K, 1) of so many times a correct sheet at a setting, with what bounces add to them."""
        ripple = ripple_nodes(float(self._bounce[setting]), sides=2)
        variance = times * float(self.single.variance[setting])
        return self.fleet.cloud(nodes_of(branches, ripple, VARIANT_WEIGHTS), setting, variance=variance)

    def moves(self, double: Branches, setting: int) -> dict[str, tuple[float, float]]:
        """Standard deviations of one sheet and two at a setting, by what causes them."""
        one = self.single
        nodes, weights = double.attenuation_db[0, :, 0], double.weights[0]
        film = float(np.sqrt(weights @ (nodes - weights @ nodes) ** 2))
        ripple = float(self._ripple_variance[setting]) ** 0.5
        drift, air = self.fleet.causes(setting)
        mass, flutter, model = (
            float(v[setting]) ** 0.5 for v in (one.mass_variance, one.flutter_variance, one.model_variance)
        )
        return {
            "grammage": (mass, mass * self.double_times**0.5),
            "flutter": (flutter, flutter * self.double_times**0.5),
            "stiffness-and-loss": (model, self.double_times * model),
            "trapped-air": (0.0, film),
            "standing-wave": (ripple, ripple),
            "drift": (drift, drift),
            "air": (air, air),
        }


@dataclass(frozen=True, kw_only=True)
class Single:
    """One sheet at N settings: attenuation by variant and branch (V, K, N), its mean, and its variances (N,)."""

    branches: Branches
    mean: Array
    mass_variance: Array
    flutter_variance: Array
    model_variance: Array

    @cached_property
    def variance(self) -> Array:
        """What varies from sheet to sheet, (N,)."""
        return self.mass_variance + self.flutter_variance


@lru_cache(maxsize=1024)
def absorption_swing_db_per_m(frequency_hz: float, conditions: Conditions) -> float:
    """By how much the absorption of the air differs over the corners of the conditions."""
    per_m = [float(absorption_db_per_m(frequency_hz=frequency_hz, air=air)) for air in conditions.corner_airs()]
    return max(per_m) - min(per_m)


def receiver_of(parameters: UltrasonicParameters, open_db: Array) -> Receiver:
    """Where band edges may lie at settings with an open path `open_db` (N,)."""
    p, overload = parameters, parameters.overload_db + open_db
    return Receiver(
        lowest_edge=np.maximum(overload, 0.0) + 1.0,
        highest_edge=np.minimum(overload + p.gain_range_db + p.span_db, p.noise_db + open_db),
        widest_band=p.span_db,
    )
