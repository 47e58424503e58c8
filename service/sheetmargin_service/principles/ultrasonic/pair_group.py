"""Ultrasonic classes under the same conditions, asked about a sheet together: what moves their readings, to first order
and in full. Arrays over settings (N,) hold those of all classes that fit the line, class by class."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import absorption_db_per_m
from sheetmargin_service.acoustics.poles import Poles
from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95, Z95, Z99
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.draws import drawn
from sheetmargin_service.principles.lots import LOT_SHARE, lot_of
from sheetmargin_service.principles.protocol import Receiver, Settings, SignalDistribution, SignalTable, Span, Spread
from sheetmargin_service.principles.ultrasonic.blocking import blocked_share
from sheetmargin_service.principles.ultrasonic.levels import Branches, Levels, levels_before
from sheetmargin_service.principles.ultrasonic.pair import Row, row_in_air
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.principles.ultrasonic.receiver import (
    bypass_floor,
    bypass_steps,
    read_percentiles,
    receiver_noise,
)
from sheetmargin_service.principles.ultrasonic.responses import MASS_STEP, STIFFNESSES, wave_unknowns
from sheetmargin_service.principles.ultrasonic.set_by_hand import SetByHand
from sheetmargin_service.principles.ultrasonic.spreads import (
    GRID,
    mixture_quantiles,
    ripple_nodes,
    ripple_variance,
)
from sheetmargin_service.principles.ultrasonic.tilts import Run, run_over_settings
from sheetmargin_service.principles.ultrasonic.waves import KeptWaves

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]
Parabolas = Mapping[str, tuple[Array, Array]]
"""Slope and bend of levels over what is drawn, by its name."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PairGroup:
    """Pairs of a row under given conditions, known by identity. `keep` (N,): the row's settings that fit the line."""

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
    def _noise_db(self) -> Array:
        return self.per_setting([pair.parameters.noise_db for pair in self.row.pairs])

    @cached_property
    def floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        return self.row.bypass_db[self.keep], self._noise_db + self.open_db

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

    @cached_property
    def set_by_hand(self) -> SetByHand:
        return SetByHand(row=self.row, run=self._run)

    def flutter_variance(self, attenuation: Array) -> Array:
        """Variance from the angle of the sheet, at all of the row's settings: by slope, and by curvature, which is all
        that there is square on."""
        sigma = self.conditions.flutter_deg / HALF_WIDTH_95
        slope, curvature = self._run.slope_and_curvature(attenuation)
        return np.asarray((sigma * slope) ** 2 + (0.5 * sigma**2 * curvature) ** 2)

    def distributions(self, asked: Sequence[tuple[SheetLevels, int]]) -> list[SignalDistribution]:
        """Sheets, each at one setting, with every spread."""
        settings: dict[int, list[int]] = defaultdict(list)
        by_id = {id(sheet): sheet for sheet, _ in asked}
        for sheet, setting in asked:
            settings[id(sheet)].append(setting)
        found = {(key, at): one for key in settings for at, one in by_id[key].distributions(settings[key]).items()}
        return [found[id(sheet), setting] for sheet, setting in asked]

    def open_spread(self, setting: int) -> Spread:
        """What is read without a sheet, whichever sheet is asked about."""
        if setting not in self._open:
            added = ripple_nodes(float(self.row.open_bounce[self.keep[setting]]), sides=1)
            self._open[setting] = self.spread(np.zeros(1), np.ones((1, 1)), setting, added=added, variance=0.0)
        return self._open[setting]

    def spread(
        self,
        nominal: Array,
        weights: Array,
        setting: int,
        *,
        added: Array,
        variance: float,
        unknowns: Parabolas | None = None,
        beside: Array | None = None,
    ) -> Spread:
        """Levels (M,) before the receiver at a setting; with unknowns, those of a sheet."""
        open_db = float(self.open_db[setting])
        return Spread(
            nominal=nominal,
            weights=weights,
            blur=variance**0.5,
            unknowns=unknowns or {},
            beside=beside,
            added=added,
            common=float(self.common_variance[setting]) ** 0.5,
            floor=bypass_floor(GRID, bypass_db=float(self.floors_db[0][setting]) - open_db, open_db=open_db),
            floor_steps=None if unknowns is None else bypass_steps(),
            noise=receiver_noise(GRID, noise_db=float(self._noise_db[setting]), open_db=open_db),
        )

    def span(self, branches: Branches, *, shift: Array, sigma: Array, third: Array) -> Span:
        """Percentiles of nominal branches (1, K, N) with a spread of mean `shift`, standard deviation `sigma` and third
        cumulant `third`, by the first terms of Cornish and Fisher (Rev. Inst. Int. Stat. 5, 307, 1938), as one reading
        has them beside the floors."""
        nodes, weights = branches.attenuation_db[0] + shift, branches.weights
        bypass_db, noise_db = self.floors_db
        p1, p50, p99 = mixture_quantiles(nodes, weights, sigma)
        bent = third / (6.0 * (sigma**2 + weights @ (nodes - weights @ nodes) ** 2))
        ends = (Z99**2 - 1.0) * bent
        p1, p50, p99 = read_percentiles(p1 + ends, p50 - bent, p99 + ends, bypass_db=bypass_db, noise_db=noise_db)
        return Span(p1=p1, p50=p50, p99=p99)

    def causes(self, setting: int) -> tuple[float, float]:
        """Standard deviations of drift and of the air's absorption at a setting."""
        return float(self._drift_variance[setting]) ** 0.5, float(self._air_variance[setting]) ** 0.5


@lru_cache(maxsize=16)
def pair_group_under(parameters: tuple[UltrasonicParameters, ...], conditions: Conditions) -> PairGroup:
    """Some classes under given conditions, at the settings that are searched."""
    row = row_in_air(parameters, conditions.mean_air())
    return PairGroup(
        row=row, conditions=conditions, keep=np.flatnonzero(row.tilt_deg <= conditions.max_tilt_deg + 1e-9)
    )


@dataclass(frozen=True, kw_only=True)
class SheetLevels:
    """One sheet before one group of pairs."""

    pair_group: PairGroup
    sheet: Sheet
    _drawn_samples: dict[tuple[int, ...], tuple[Complex, Poles] | None] = field(default_factory=dict)
    _double_weights: list[Array] = field(default_factory=list)
    _waves: KeptWaves = field(default_factory=KeptWaves)
    _known: dict[int, SignalDistribution] = field(default_factory=dict)

    @cached_property
    def levels(self) -> Levels:
        """The sheet before all of the row's settings, those that do not fit included."""
        return levels_before(self.sheet, self.pair_group.row)

    @cached_property
    def single(self) -> Single:
        """One correct sheet at every setting."""
        sheet, keep = self.sheet, self.pair_group.keep
        branches = self.levels.single()
        every = np.tensordot(branches.weights, branches.attenuation_db, axes=(0, 1))
        nominal, slopes, curvatures = _parabolas(every)
        per_step = slopes[self.unknowns.index("mass")]
        placed = self.pair_group.set_by_hand.moves(nominal)
        # A parabola of a standard normal variable: its mean, its variance and its third cumulant.
        slope = np.concatenate([self._axes.T @ slopes, [one for one, _ in placed.values()]])
        curvature = np.concatenate([self._bent[:, None] * curvatures, [bend for _, bend in placed.values()]])
        drawn = np.square(slope) + 2.0 * np.square(curvature)
        third = (6.0 * slope**2 * curvature + 8.0 * curvature**3).sum(axis=0)
        mass = self._within_lot / MASS_STEP
        return Single(
            branches=branches.some(keep),
            mean=(nominal + curvature.sum(axis=0))[keep],
            shift=curvature.sum(axis=0)[keep],
            mass_variance=(np.square(per_step * mass) / sheet.plies)[keep],
            flutter_variance=self.pair_group.flutter_variance(nominal)[keep],
            drawn_variance=drawn[:, keep],
            drawn_third=third[keep],
            placed=placed,
        )

    @property
    def _within_lot(self) -> float:
        """Relative standard deviation of mass within a lot, formation among it."""
        sheet = self.sheet
        within = sheet.mass_tolerance_pct * np.sqrt(1.0 - LOT_SHARE)
        return float(np.hypot(within, sheet.formation_pct)) / HALF_WIDTH_95 / 100.0

    @cached_property
    def unknowns(self) -> tuple[str, ...]:
        """Names of what is not known of the sheet and changes its waves, as they are drawn."""
        return tuple(wave_unknowns(self.sheet))

    @property
    def _bent(self) -> Array:
        """What turns each unknown's curvature over the step to its ends into one over what is drawn; 0 for mass and
        density: over a tolerance a level is all but straight, and a parabola through its near ends says nothing of what
        lies beyond them."""
        return np.array([0.0 if name in ("mass", "thickness") else Z95**-2 for name in self.unknowns])

    @cached_property
    def _axes(self) -> Array:
        """How far a standard deviation of each draw (columns) moves each unknown (rows), as a share of the step to its
        ends: mass and density of a lot move together, as one of its sizes follows from the other."""
        lot, names = lot_of(self.sheet), self.unknowns
        axes = np.eye(len(names)) / Z95
        mass = names.index("mass")
        if "thickness" not in names:
            axes[mass, mass] = np.hypot(*lot.mass) / MASS_STEP
            return axes
        both = [mass, names.index("thickness")]
        axes[mass, both] = np.divide(lot.mass, MASS_STEP)
        axes[both[1], both] = np.divide(lot.density, Z95 * np.hypot(*lot.density))
        return axes

    @property
    def double_times(self) -> float:
        """How many times the plies of a correct sheet a double has."""
        return self.sheet.double_plies / self.sheet.plies

    @cached_property
    def _bounce(self) -> Array:
        return self.pair_group.bounce_amplitude(self.single.mean)

    @cached_property
    def _ripple_variance(self) -> Array:
        return 2.0 * ripple_variance(self._bounce)

    @cached_property
    def _searched(self) -> Branches:
        """Two sheets at all of the row's settings, as a search looks at them."""
        return self.levels.searching().double(1)

    @cached_property
    def _placed(self) -> tuple[Parabolas, Parabolas]:
        """How setting by hand moves one sheet and two, at all of the row's settings."""
        set_by_hand, two = self.pair_group.set_by_hand, self._searched
        return self.single.placed, set_by_hand.moves(two.weights @ two.attenuation_db[0])

    @cached_property
    def signal_table(self) -> SignalTable:
        """Every setting, to first order."""
        pair_group, one, levels = self.pair_group, self.single, self.levels.searching()
        common = pair_group.common_variance + self._ripple_variance
        drawn, third = one.drawn_variance.sum(axis=0), one.drawn_third
        alone = np.sqrt(common + one.variance + drawn)
        # The masses of plies vary apart within a lot; what is drawn for the job is the same for all.
        times = self.double_times
        together = np.sqrt(common + times * one.variance + times**2 * drawn)
        fewer = levels.fewer(1) if self.sheet.fewer_plies else None
        return SignalTable(
            no_sheet=pair_group.open_span,
            single=pair_group.span(one.branches, shift=one.shift, sigma=alone, third=third),
            double=pair_group.span(
                self._searched.some(pair_group.keep), shift=times * one.shift, sigma=together, third=times**3 * third
            ),
            fewer=None
            if fewer is None
            else pair_group.span(fewer.some(pair_group.keep), shift=one.shift, sigma=alone, third=third),
        )

    def at_settings(self, settings: Sequence[int]) -> Others:
        """Two sheets, and a ply fewer of several, in every case at some settings."""
        pair_group = self.pair_group
        places = []
        for setting in settings:
            place = int(pair_group.keep[setting])
            pair = next(p for p, part in enumerate(pair_group.settings) if part.start <= setting < part.stop)
            places.append((pair, place - int(pair_group.row.settings[pair][0])))
        levels, cases = self.levels.at_settings(places, waves=self._waves), len(self.levels.model.cases)
        double = levels.double(cases)
        return Others(
            double=double,
            weights=levels.drawn_weights(double),
            blocked=levels.blocked(cases) if self.sheet.contact == "air" else None,
            fewer=levels.fewer(cases) if self.sheet.fewer_plies else None,
            drawn=tuple(self._drawn_single(*place) for place in places),
        )

    def forget_waves(self) -> None:
        """Keep no longer what passes through two sheets at each frequency: some 10 MB."""
        self._waves.known.clear()

    def _drawn_single(self, path: int, setting: int) -> Array | None:
        """One sheet in each draw at a setting of a path, (J,), where parabolas are not good enough for it."""
        lines = tuple(self.levels.lines[path].tolist())
        if lines not in self._drawn_samples:
            self._drawn_samples[lines] = self.levels.drawn_samples(path)
        samples = self._drawn_samples[lines]
        return None if samples is None else self.levels.drawn_single(path, setting, samples)

    def distributions(self, settings: Sequence[int]) -> dict[int, SignalDistribution]:
        """Some settings with every spread, computed once."""
        new = [at for at in dict.fromkeys(settings) if at not in self._known]
        if new:
            others = self.at_settings(new)
            self._known.update({at: self._distribution(at, others.at(place)) for place, at in enumerate(new)})
        return {at: self._known[at] for at in settings}

    def _distribution(self, setting: int, others: Others) -> SignalDistribution:
        """One setting with every spread, from the branches of two sheets and of a ply fewer there."""
        single, fewer, (one, two) = self.single.branches.at(setting), others.fewer, self._placed
        double_db, weights, beside = others.double.attenuation_db, others.weights, self._beside(single, others.drawn[0])
        if others.blocked is not None:
            double_db = np.concatenate([double_db, others.blocked.attenuation_db], axis=1)
            weights = self._with_blocked(weights, others.blocked.weights)
        return SignalDistribution(
            no_sheet=self.pair_group.open_spread(setting),
            single=self._spread(single.attenuation_db, single.weights[None, :], setting, placed=one, beside=beside),
            double=self._spread(double_db, weights, setting, placed=two, beside=beside, times=self.double_times),
            fewer=None
            if fewer is None
            else self._spread(fewer.attenuation_db, fewer.weights[None, :], setting, placed=one, beside=beside),
            moves=self.moves(others.double, setting),
        )

    def _with_blocked(self, weights: Array, blocked: Array) -> Array:
        """Weights of doubles that lie on each other (J or 1, K), then of those that cling (K'), in each draw: the same
        before every class, and kept once."""
        if not self._double_weights:
            share = blocked_share(self.sheet)[:, None]
            self._double_weights.append(np.concatenate([(1.0 - share) * weights, share * blocked], axis=1))
        return self._double_weights[0]

    def _beside(self, single: Branches, drawn_db: Array | None) -> Array | None:
        """What parabolas leave out of one sheet in each draw, (J,), where it is computed in each."""
        if drawn_db is None:
            return None
        nominal, slopes, curvatures = _parabolas(single.attenuation_db[:, 0, 0])
        z = np.stack([drawn(name) for name in self.unknowns], axis=1)
        return np.asarray(drawn_db - nominal - z @ self._axes.T @ slopes - z**2 @ (self._bent * curvatures))

    def _spread(
        self,
        attenuation_db: Array,
        weights: Array,
        setting: int,
        *,
        placed: Parabolas,
        beside: Array | None,
        times: float = 1.0,
    ) -> Spread:
        """Levels (C, K, 1) of so many times a correct sheet at a setting, with what bounces add to them. Each unknown
        moves them by a parabola through its nominal value and both ends, mass and density by a line through these; what
        that leaves out of one sheet in each draw is `beside` (J,), and of more sheets so many times that."""
        levels, place = attenuation_db[..., 0], int(self.pair_group.keep[setting])
        nominal, slopes, curvatures = _parabolas(levels)
        bends = zip(self._axes.T @ slopes, self._bent[:, None] * curvatures, strict=True)
        even = np.ones_like(nominal)
        by_hand = {name: (slope[place] * even, bend[place] * even) for name, (slope, bend) in placed.items()}
        return self.pair_group.spread(
            nominal,
            weights,
            setting,
            added=ripple_nodes(float(self._bounce[setting]), sides=2),
            variance=times * float(self.single.variance[setting]),
            unknowns=dict(zip(self.unknowns, bends, strict=True)) | by_hand,
            beside=None if beside is None else times * beside[:, None],
        )

    def moves(self, double: Branches, setting: int) -> dict[str, tuple[float, float]]:
        """Standard deviations of one sheet and two at a setting, by what causes them."""
        one, times = self.single, self.double_times
        nodes, weights = double.attenuation_db[0, :, 0], double.weights
        film = float(np.sqrt(weights @ (nodes - weights @ nodes) ** 2))
        ripple = float(self._ripple_variance[setting]) ** 0.5
        drift, air = self.pair_group.causes(setting)
        flutter = float(one.flutter_variance[setting]) ** 0.5
        names = (*self.unknowns, "gap", "tilt")
        by_unknown = dict(zip(names, one.drawn_variance[:, setting].tolist(), strict=True))
        within, lot = float(one.mass_variance[setting]), by_unknown["mass"]
        model = sum(by_unknown.get(name, 0.0) for name in (*STIFFNESSES, "loss")) ** 0.5
        density = by_unknown.get("thickness", 0.0) ** 0.5
        by_hand = (by_unknown["gap"] + by_unknown["tilt"]) ** 0.5
        pores = by_unknown.get("permeance", 0.0) ** 0.5
        return {
            "grammage": ((within + lot) ** 0.5, (times * within + times**2 * lot) ** 0.5),
            "flutter": (flutter, flutter * times**0.5),
            "stiffness-and-loss": (model, times * model),
            "thickness": (density, times * density),
            "set-by-hand": (by_hand, times * by_hand),
            "permeance": (pores, times * pores),
            "trapped-air": (0.0, film),
            "standing-wave": (ripple, ripple),
            "drift": (drift, drift),
            "air": (air, air),
        }


@lru_cache(maxsize=3)
def sheet_levels(pair_group: PairGroup, sheet: Sheet) -> SheetLevels:
    """A sheet before a group, as the last questions left it: the next one is often about the same sheet on another
    line. Of each path of integration (three) one sheet is kept, some 10 MB."""
    return SheetLevels(pair_group=pair_group, sheet=sheet)


def _parabolas(levels: Array) -> tuple[Array, Array, Array]:
    """From levels (C, ...) by case the nominal one, and of each unknown slope and curvature (U, ...) over the step to
    its ends."""
    nominal, low, high = levels[0], levels[1::2], levels[2::2]
    return nominal, 0.5 * (high - low), 0.5 * (high + low) - nominal


@dataclass(frozen=True, kw_only=True)
class Others:
    """Two sheets at some settings, in every case: as they lie on each other, with the branches' weights (J, K) in each
    draw, and as they cling to each other, where they may; a ply fewer of several; and one sheet in
    each draw, (J,) a setting, where its level runs over them as no parabola does."""

    double: Branches
    weights: Array
    blocked: Branches | None
    fewer: Branches | None
    drawn: tuple[Array | None, ...]

    def at(self, place: int) -> Others:
        """The same at one of the settings."""
        blocked, fewer = (None if b is None else b.at(place) for b in (self.blocked, self.fewer))
        return Others(
            double=self.double.at(place),
            weights=self.weights,
            blocked=blocked,
            fewer=fewer,
            drawn=(self.drawn[place],),
        )


@dataclass(frozen=True, kw_only=True)
class Single:
    """One sheet at N settings: attenuation by case and branch (C, K, N), its mean over what is drawn, by how much that
    lies above the nominal case, and its variances (N,): from event to event, and of each unknown that is drawn (U, N),
    with the third cumulant of those (N,). `placed`: how setting by hand moves it, at all of the row's settings."""

    branches: Branches
    mean: Array
    shift: Array
    mass_variance: Array
    flutter_variance: Array
    drawn_variance: Array
    drawn_third: Array
    placed: Parabolas

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
        lowest_edge=np.maximum(overload - p.softness_db, 0.0) + 1.0,
        highest_edge=np.minimum(overload + p.gain_range_db + p.span_db, p.noise_db + open_db),
        widest_band=p.span_db + p.softness_db,
    )
