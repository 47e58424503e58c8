"""Attenuation of one sheet, of two, and of a ply fewer: every branch of what lies between them, at all settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.operators import Operator, amplitudes, apply_samples, coarse_error, level_db
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.principles.ultrasonic.films import FILM_M, Films, film_weights
from sheetmargin_service.prediction.principles.ultrasonic.pair import Pair
from sheetmargin_service.prediction.principles.ultrasonic.responses import (
    DRAWS,
    WATER_M,
    SheetModel,
    draw_films,
    survey_cases,
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]
Through = Callable[[SheetModel, Indices, Array, Array], Complex]
"""Transmission of a model's branches (K,) at frequencies and sines, on its grid or for pieces."""

PARTIAL_CONTACT = np.array([0.1, 0.3, 0.6])
"""Share of the beam's spot in which two partly bonded sheets touch, three branches alike (illustrative)."""
ONE = np.ones((1, 1))
AIR_BELIEF = 0.2
"""How far a tighter and a looser distribution of the trapped air are believed, each (a choice, stated)."""
NO_JOINT = np.empty((0, 1), dtype=np.intp)
SMOOTH = 0.003
SMOOTH_AT_SETTING = 0.01
SMOOTH_TO_SEARCH = 0.03
"""`coarse_error` up to which a response counts as smooth over angle: within 0.1 dB at its worst setting, with few
exceptions (measured); the same at a single setting; and within 1 dB, for a search."""
EVEN_DB = 0.02
"""Difference between band and centre up to which the centre stands for the band."""


@dataclass(frozen=True, kw_only=True)
class Branches:
    """Attenuation in dB (C, K, N) of C cases and K branches at N settings, and the branches' weights (A, K): one row,
    or three for the trapped air as it is, tighter, and looser."""

    attenuation_db: Array
    weights: Array


@dataclass(frozen=True, kw_only=True)
class Levels:
    """One sheet, in all its `survey_cases`, before one operator.

    `smooth`: its response is resolved by the operator's own nodes. `limit`: `coarse_error` up to which those of a pile
    are trusted.
    """

    model: SheetModel
    films: Films
    operator: Operator
    floor_db: float
    face_radius_mm: float
    smooth: bool
    every_film: int = 1
    limit: float = SMOOTH

    @property
    def sheet(self) -> Sheet:
        return self.model.sheet

    def searching(self) -> Levels:
        """The same, a little rougher, where only a search looks: with every second film."""
        return replace(self, every_film=2, limit=SMOOTH_TO_SEARCH)

    def at_setting(self, setting: int) -> Levels:
        """The same at one setting alone."""
        s = slice(setting, setting + 1)
        o = self.operator
        one = replace(o, coarse=o.coarse[..., s], fine=o.fine[..., s], weight=o.weight[..., s])
        return replace(self, operator=one, limit=SMOOTH_AT_SETTING)

    def single(self) -> Branches:
        """A correct sheet in every case: one ply, or as many as it has."""
        return self._branches(*self._pile(self.model, self.sheet.plies))

    def fewer(self, cases: int) -> Branches:
        """A sheet of several plies that lacks one, in the first cases."""
        return self._branches(*self._pile(self.model.first(cases), self.sheet.plies - 1))

    def double(self, cases: int) -> Branches:
        """Two sheets of one ply, or a ply too many, as they touch and as far as they cover the spot; first cases."""
        model = self.model.first(cases)
        amplitude, weights = self._second(model)
        cover = self._cover()
        if cover < 1.0:
            single, _ = self._pile(model, self.sheet.plies)
            amplitude = cover * amplitude + (1.0 - cover) * single.mean(axis=1, keepdims=True)
        return self._branches(amplitude, weights)

    def over_films(self, cases: int) -> Array:
        """Attenuation in dB (C, K, N) of two sheets with each of the K films of `FILM_M` between them, first cases."""
        films, model = self.films, self.model.first(cases)
        amplitude = self._through(
            model, lambda m, k, f, s: m.transmission_of_pile(films, k[None, :], f, s), len(FILM_M)
        )
        return np.asarray(-level_db(operator=self.operator, amplitude=amplitude))

    def _second(self, model: SheetModel) -> tuple[Complex, Array]:
        plies = self.sheet.plies + 1
        match self.sheet.contact:
            case "air":
                return self._pile(model, plies)
            case "bonded":
                return self._bonded(model, plies), ONE
            case "water-film":
                weights = np.full((1, len(WATER_M)), 1.0 / len(WATER_M))
                return self._through(model, lambda m, k, f, s: m.wet(WATER_M[k], f, s), len(WATER_M)), weights
            case "partial":
                apart, weights = self._pile(model, plies)
                touching = self._bonded(model, plies)
                mixed = [share * touching + (1.0 - share) * apart for share in PARTIAL_CONTACT]
                return np.concatenate(mixed, axis=1), np.tile(weights, (1, len(mixed))) / len(mixed)

    def _bonded(self, model: SheetModel, plies: int) -> Complex:
        return self._through(model, lambda m, _, f, s: m.bonded(plies, f, s), 1)

    def _pile(self, model: SheetModel, plies: int) -> tuple[Complex, Array]:
        """Amplitudes (C, K, F, N) of plies with air between them: a single film by its distribution, more by draws."""
        draws, weights = NO_JOINT, ONE
        if plies > 1:
            index, weights = film_weights(self.sheet.trapped_air, every=self.every_film)
            draws = index[None, :]
        if plies > 2:
            draws = draw_films(index, weights[0], joints=plies - 1)
            weights = np.full((1, DRAWS), 1.0 / DRAWS)
        films = self.films
        through = self._through(
            model, lambda m, k, f, s: m.transmission_of_pile(films, draws[:, k], f, s), draws.shape[1]
        )
        return through, weights

    def _through(self, model: SheetModel, transmission: Through, branches: int) -> Complex:
        """Amplitudes (C, K, F, N): from the operator's own angles where they resolve a case, else resolved further."""
        every = np.arange(branches)
        samples = transmission(model, every, self.operator.frequency_hz[:, None], self.films.sin_theta)
        shape = samples.shape[:2]
        samples = samples.reshape(-1, *samples.shape[2:])
        amplitude = apply_samples(operator=self.operator, samples=samples)
        error = coarse_error(operator=self.operator, samples=samples, floor_db=self.floor_db)
        open_cases = np.flatnonzero(error >= self.limit) if self.smooth else np.arange(len(samples))

        def pieces(place: tuple[Indices, ...], frequency: Array, sine: Array) -> Complex:
            case, branch = np.unravel_index(open_cases[place[0]], shape)
            return transmission(model.picked(case), branch, frequency, sine)

        if len(open_cases):
            amplitude[open_cases] = amplitudes(
                operator=self.operator, samples=samples[open_cases], pieces=pieces, floor_db=self.floor_db
            )
        return amplitude.reshape(*shape, *amplitude.shape[1:])

    def _branches(self, amplitude: Complex, weights: Array) -> Branches:
        return Branches(attenuation_db=-level_db(operator=self.operator, amplitude=amplitude), weights=weights)

    def _cover(self) -> float:
        """Share of the spot, as large as the faces, that a centred strip of the overlap's width covers."""
        if self.sheet.overlap_mm is None:
            return 1.0
        u = min(1.0, 0.5 * self.sheet.overlap_mm / self.face_radius_mm)
        return float(2.0 / np.pi * (np.arcsin(u) + u * np.sqrt(1.0 - u * u)))


def levels_of(sheet: Sheet, pair: Pair) -> Levels:
    """The sheet before the pair's operator. Its nominal case shows whether it is smooth over angle; and over the band,
    where the centre alone then stands for it."""
    operator, films, floor_db = pair.operator, pair.films, -pair.parameters.bypass_db
    model = SheetModel(sheet=sheet, air=pair.air, cases=survey_cases(sheet))
    samples = model.first(1).transmission_of_pile(films, NO_JOINT, operator.frequency_hz[:, None], films.sin_theta)
    error = coarse_error(operator=operator, samples=samples, floor_db=floor_db)
    smooth = bool(np.all(error < SMOOTH))
    if smooth:
        over_band = level_db(operator=operator, amplitude=apply_samples(operator=operator, samples=samples))
        middle = len(operator.frequency_hz) // 2
        centre = samples[..., middle : middle + 1, :]
        at_centre = level_db(operator=pair.centre, amplitude=apply_samples(operator=pair.centre, samples=centre))
        if np.max(np.abs(over_band - at_centre)) < EVEN_DB:
            operator, films = pair.centre, pair.centre_films
    return Levels(
        model=model.known_at(operator.frequency_hz[:, None], films.sin_theta),
        films=films,
        operator=operator,
        floor_db=floor_db,
        face_radius_mm=pair.parameters.face_radius_mm,
        smooth=smooth,
    )
