"""Attenuation of one sheet, of two, and of a ply fewer: every branch of what lies between them, at all settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.operators import Operator, amplitudes, apply_samples, coarse_error, level_db
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.principles.ultrasonic.films import Films, film_weights
from sheetmargin_service.prediction.principles.ultrasonic.responses import (
    DRAWS,
    WATER_M,
    Case,
    SheetModel,
    draw_films,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Through = Callable[[Array, Array], Complex]

PARTIAL_CONTACT = np.array([0.1, 0.3, 0.6])
"""Share of the beam's spot in which two partly bonded sheets touch, three branches alike (illustrative)."""
ONE = np.ones(1)
SMOOTH = 0.03
"""`coarse_error` of one sheet up to which it, and two of it, are smooth over angle."""


@dataclass(frozen=True, kw_only=True)
class Branches:
    """Attenuation in dB (C, K, N) of C cases and K branches at N settings, and the branches' weights (K,)."""

    attenuation_db: Array
    weights: Array


@dataclass(frozen=True, kw_only=True)
class Levels:
    """One sheet before one operator. `smooth`: its response is resolved by the operator's own nodes."""

    sheet: Sheet
    films: Films
    operator: Operator
    floor_db: float
    face_radius_mm: float
    smooth: bool = False
    every_film: int = 1

    def judged(self) -> Levels:
        """The same, with what the nominal sheet shows of its smoothness."""
        draws = np.empty((0, 1), dtype=np.intp)
        samples = self._model((Case(),)).transmission_of_pile(
            self.films, draws, self.operator.frequency_hz[:, None], self.films.sin_theta
        )
        error = coarse_error(operator=self.operator, samples=samples, floor_db=self.floor_db)
        return replace(self, smooth=error < SMOOTH)

    def searching(self) -> Levels:
        """The same with every second film only."""
        return replace(self, every_film=2)

    def at_setting(self, setting: int) -> Levels:
        """The same at one setting alone."""
        s = slice(setting, setting + 1)
        o = self.operator
        one = replace(o, coarse=o.coarse[..., s], fine=o.fine[..., s], weight=o.weight[..., s])
        return replace(self, operator=one)

    def single(self, cases: tuple[Case, ...]) -> Branches:
        """A correct sheet: one ply, or as many as it has."""
        return self._branches(*self._pile(self._model(cases), self.sheet.plies))

    def fewer(self, cases: tuple[Case, ...]) -> Branches:
        """A sheet of several plies that lacks one."""
        return self._branches(*self._pile(self._model(cases), self.sheet.plies - 1))

    def double(self, cases: tuple[Case, ...]) -> Branches:
        """Two sheets of one ply, or a ply too many, as they touch and as far as they cover the spot."""
        model = self._model(cases)
        amplitude, weights = self._second(model)
        cover = self._cover()
        if cover < 1.0:
            single, _ = self._pile(model, self.sheet.plies)
            amplitude = cover * amplitude + (1.0 - cover) * single.mean(axis=1, keepdims=True)
        return self._branches(amplitude, weights)

    def _model(self, cases: tuple[Case, ...]) -> SheetModel:
        return SheetModel(sheet=self.sheet, air=self.films.air, cases=cases)

    def _second(self, model: SheetModel) -> tuple[Complex, Array]:
        plies = self.sheet.plies + 1
        match self.sheet.contact:
            case "air":
                return self._pile(model, plies)
            case "bonded":
                return self._through(lambda f, s: model.bonded(plies, f, s)), ONE
            case "water-film":
                weights = np.full(len(WATER_M), 1.0 / len(WATER_M))
                return self._through(lambda f, s: model.wet(WATER_M, f, s)), weights
            case "partial":
                apart, weights = self._pile(model, plies)
                touching = self._through(lambda f, s: model.bonded(plies, f, s))
                mixed = [share * touching + (1.0 - share) * apart for share in PARTIAL_CONTACT]
                return np.concatenate(mixed, axis=1), np.tile(weights, len(mixed)) / len(mixed)

    def _pile(self, model: SheetModel, plies: int) -> tuple[Complex, Array]:
        """Amplitudes (C, K, F, N) of plies with air between them: a single film by its distribution, more by draws."""
        if plies == 1:
            draws = np.empty((0, 1), dtype=np.intp)
            weights = ONE
        else:
            index, weights = film_weights(self.sheet.trapped_air, every=self.every_film)
            draws = index[None, :]
            if plies > 2:
                draws = draw_films(index, weights, joints=plies - 1)
                weights = np.full(DRAWS, 1.0 / DRAWS)
        return self._through(lambda f, s: model.transmission_of_pile(self.films, draws, f, s)), weights

    def _through(self, transmission: Through) -> Complex:
        usual = self.films.sin_theta
        if self.smooth:
            samples = transmission(self.operator.frequency_hz[:, None], usual)
            return apply_samples(operator=self.operator, samples=samples)

        def response(frequency: Array, sine: Array) -> Complex:
            return transmission(frequency, usual if sine.ndim == 1 else sine)

        return amplitudes(operator=self.operator, response=response, floor_db=self.floor_db)

    def _branches(self, amplitude: Complex, weights: Array) -> Branches:
        return Branches(attenuation_db=-level_db(operator=self.operator, amplitude=amplitude), weights=weights)

    def _cover(self) -> float:
        """Share of the spot, as large as the faces, that a centred strip of the overlap's width covers."""
        if self.sheet.overlap_mm is None:
            return 1.0
        u = min(1.0, 0.5 * self.sheet.overlap_mm / self.face_radius_mm)
        return float(2.0 / np.pi * (np.arcsin(u) + u * np.sqrt(1.0 - u * u)))
