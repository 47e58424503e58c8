"""How far readings of a sample lie from what a forward model predicts, and what could move them.

The unknowns, each 0 +- 1 before any reading, in this order: mass, stiffness and loss of the sheet; where doubles were
read, the median of the trapped air and the film in each specimen, from that distribution; and for each place and state
what the model and the mounting leave open there, the same for every repeat.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sheetmargin.contract.measure import State

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import DB_PER_NEPER
from sheetmargin_service.measurement.film_curve import FilmCurve, film_curve
from sheetmargin_service.measurement.forward_model import Forward
from sheetmargin_service.measurement.reading import Observed, Setting
from sheetmargin_service.measurement.sample import Sample
from sheetmargin_service.principles.ultrasonic.spreads import ripple_variance

Array = NDArray[np.float64]
SOLID = 3
READING_DB = 0.5
"""Standard deviation of one reading from the next of the same sheet, laid in anew (typical, from memory)."""
MODEL_DB = 1.0
"""Standard deviation of what the model leaves open of a real sheet at one place (a choice)."""
FLOOR_DB = 6.0
"""Most that a floor as strong as the signal is taken to move it (its standard deviation would grow without end)."""


@dataclass(frozen=True, kw_only=True)
class SettingNoise:
    """What limits a place: bypass and noise as attenuations of its open path, and the relative amplitude of a bounce
    between a face and a sheet that sends all back, and between the faces."""

    bypass_db: float
    noise_db: float
    rigid_bounce: float
    open_bounce: float

    def reading_sigma(self, attenuation_db: float) -> float:
        """Standard deviation in dB of one reading: its own, and the noise."""
        return float(np.hypot(READING_DB, floor_sigma_db(attenuation_db, self.noise_db)))

    def common_sigma(self, attenuation_db: float) -> float:
        """Standard deviation in dB of what stays while the place stays: model, standing waves, bypass."""
        sent_back = np.sqrt(np.clip(1.0 - 10.0 ** (-0.1 * attenuation_db), 0.0, 1.0))
        ripple = ripple_variance(np.array([sent_back * self.rigid_bounce, self.open_bounce])) @ np.array([2.0, 1.0])
        return float(np.sqrt(MODEL_DB**2 + ripple + floor_sigma_db(attenuation_db, self.bypass_db) ** 2))


def floor_sigma_db(attenuation_db: ArrayLike, floor_db: float) -> Array:
    """Standard deviation in dB that a small disturbance of random phase makes beside a signal: what least squares can
    weigh a reading by, where the principle's floors and noise are whole distributions."""
    share = 10.0 ** (0.05 * (np.asarray(attenuation_db) - floor_db))
    return np.asarray(np.minimum(DB_PER_NEPER / np.sqrt(2.0) * share, FLOOR_DB))


@dataclass(frozen=True, kw_only=True)
class Residuals:
    """Readings of one sheet and two against a forward model. `width_x` moves the width of the trapped air."""

    forward: Forward
    sample: Sample
    seen: Sequence[Observed]
    settings: Sequence[Setting]
    noise: Mapping[Setting, SettingNoise]
    width_x: float = 0.0

    @cached_property
    def measured(self) -> Array:
        """Attenuations in dB, (n,)."""
        return np.array([one.attenuation_db for one in self.seen])

    @cached_property
    def _rows(self) -> NDArray[np.intp]:
        return np.array([self.settings.index(one.setting) for one in self.seen])

    @cached_property
    def doubles(self) -> NDArray[np.intp]:
        """Which readings are of two sheets."""
        return np.flatnonzero([one.state == "double" for one in self.seen])

    @cached_property
    def _specimens(self) -> NDArray[np.intp]:
        """Number of the specimen of each double."""
        names = [self.seen[i].specimen for i in self.doubles]
        keys = [f"name {name}" if name else f"reading {i}" for i, name in zip(self.doubles, names, strict=True)]
        return np.unique(keys, return_inverse=True)[1]

    @cached_property
    def _groups(self) -> NDArray[np.intp]:
        keys = [f"{row} {one.state}" for row, one in zip(self._rows, self.seen, strict=True)]
        return np.unique(keys, return_inverse=True)[1]

    @cached_property
    def known_before(self) -> int:
        """Unknowns of the sheet itself: mass, stiffness, loss, and the median of the air where doubles were read."""
        return SOLID + bool(len(self.doubles))

    @property
    def unknowns(self) -> int:
        films = int(self._specimens.max()) + 1 if len(self.doubles) else 0
        return self.known_before + films + int(self._groups.max()) + 1

    @cached_property
    def sigma(self) -> Array:
        """Standard deviation in dB of each reading by itself, (n,)."""
        return np.array([self.noise[one.setting].reading_sigma(one.attenuation_db) for one in self.seen])

    @cached_property
    def common(self) -> Array:
        """Standard deviation in dB of what each reading shares with its repeats, (n,)."""
        level = np.array([np.median(self.measured[self._groups == group]) for group in self._groups])
        return np.array([self.noise[o.setting].common_sigma(db) for o, db in zip(self.seen, level, strict=True)])

    @cached_property
    def _floors(self) -> Array:
        """Power of bypass and noise over the open path's, (n,)."""
        at = [self.noise[one.setting] for one in self.seen]
        return np.array([10.0 ** (-0.1 * n.bypass_db) + 10.0 ** (-0.1 * n.noise_db) for n in at])

    def expected(self) -> dict[Setting, dict[State, float]]:
        """Attenuation of one sheet and of two at each place by the library, where doubles were read."""
        if not len(self.doubles):
            return {}
        levels, rows = self.forward.levels(np.zeros(SOLID)), np.arange(len(self.settings))
        usual = film_curve(np.full(len(rows), np.log(self.sample.air[0].nominal * 1e-6)))
        double = usual.value(levels.double, rows)
        return {
            setting: {"single": float(levels.single[row]), "double": float(double[row])}
            for row, setting in enumerate(self.settings)
        }

    def _film_scale(self) -> float:
        width = self.sample.air[1]
        return width.at(self.width_x)

    def _curve(self, x: Array) -> FilmCurve:
        median = self.sample.air[0]
        films = x[self.known_before :][self._specimens]
        log_median = np.log(median.nominal * 1e-6) + median.sigma * x[SOLID]
        return film_curve(log_median + self._film_scale() * films)

    def _true(self, x: Array) -> Array:
        """Attenuation before floors, (n,)."""
        levels = self.forward.levels(x[:SOLID])
        result = levels.single[self._rows]
        if len(self.doubles):
            result[self.doubles] = self._curve(x).value(levels.double, self._rows[self.doubles])
        return np.asarray(result)

    def predicted(self, x: Array) -> Array:
        """Attenuation as it would be read, (n,), but for what the model leaves open at a place."""
        return np.asarray(-10.0 * np.log10(10.0 ** (-0.1 * self._true(x)) + self._floors))

    def open_part(self, x: Array) -> Array:
        """What the model leaves open of each reading, in dB, (n,)."""
        return np.asarray(self.common * self.left_open(x))

    def left_open(self, x: Array) -> Array:
        """The same in its standard deviations, (n,)."""
        groups = int(self._groups.max()) + 1
        return np.asarray(x[-groups:][self._groups])

    def __call__(self, x: Array) -> Array:
        return np.asarray((self.measured - self.predicted(x) - self.open_part(x)) / self.sigma)

    def slope(self, x: Array) -> Array:
        """Derivatives (n, m) of the misfit."""
        count, slopes = len(self.seen), self.forward.slopes(x[:SOLID])
        result = np.zeros((count, self.unknowns))
        result[:, :SOLID] = slopes.single[:, self._rows].T
        if len(self.doubles):
            rows, curve = self._rows[self.doubles], self._curve(x)
            result[self.doubles, :SOLID] = curve.value(slopes.double, rows).T
            by_film = curve.slope(self.forward.levels(x[:SOLID]).double, rows)
            result[self.doubles, SOLID] = self.sample.air[0].sigma * by_film
            result[self.doubles, self.known_before + self._specimens] = self._film_scale() * by_film
        signal = 10.0 ** (-0.1 * self._true(x))
        result *= (signal / (signal + self._floors))[:, None]
        groups = int(self._groups.max()) + 1
        result[np.arange(count), self.unknowns - groups + self._groups] = self.common
        return np.asarray(-result / self.sigma[:, None])
