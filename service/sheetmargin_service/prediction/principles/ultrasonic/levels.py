"""Attenuation of one sheet, of two, and of a ply fewer: every branch of what lies between them, at all settings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.operators import Operator, amplitudes, apply_samples, coarse_error, decibels, power
from sheetmargin_service.acoustics.trapped_air import Film
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.prediction.principles.ultrasonic.films import FILM_M, Films, film_weights, films_of_pieces
from sheetmargin_service.prediction.principles.ultrasonic.pair import Pair, Row
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
Through = Callable[[SheetModel, Indices, list[Film], Array, Array], Complex]
"""Transmission of a model's branches (K,), with the films of their joints, at frequencies and sines: on its grid or for
pieces."""

PARTIAL_CONTACT = np.array([0.1, 0.3, 0.6])
"""Share of the beam's spot in which two partly bonded sheets touch, three branches alike (illustrative)."""
ONE = np.ones((1, 1))
AIR_BELIEF = 0.2
"""How far a tighter and a looser distribution of the trapped air are believed, each (a choice, stated)."""
SMOOTH = 0.003
SMOOTH_AT_SETTING = 0.01
SMOOTH_TO_SEARCH = 0.03
"""`coarse_error` up to which a response counts as smooth over angle: within 0.1 dB at its worst setting, with few
exceptions (measured); the same at a single setting; and within 1 dB, for a search."""
LEFT, LEFT_ROUGHLY = 5e-3, 1e-2
"""Share of a level that a piece of a panel may leave unresolved where a response is not smooth; and for a single
setting or a search, whose levels then move by less than 0.03 dB (measured; by 0.4 dB at 3e-2)."""
EVEN_DB = 0.02
"""Difference between band and centre up to which the centre stands for the band."""


@dataclass(frozen=True, kw_only=True)
class Branches:
    """Attenuation in dB (C, K, N) of C cases and K branches at N settings, and the branches' weights (A, K): one row,
    or three for the trapped air as it is, tighter, and looser."""

    attenuation_db: Array
    weights: Array

    def some(self, settings: Indices) -> Branches:
        """The same at some settings."""
        return replace(self, attenuation_db=self.attenuation_db[..., settings])

    def at(self, setting: int) -> Branches:
        """The same at one setting alone."""
        return replace(self, attenuation_db=self.attenuation_db[..., setting, None])


@dataclass(frozen=True, kw_only=True)
class Path:
    """A pair as it is needed before one sheet: over its band or at the band's centre alone.

    `smooth`: the sheet's response is resolved by the operator's own nodes.
    """

    operator: Operator
    floor_db: float
    face_radius_mm: float
    smooth: bool

    def at_setting(self, setting: int) -> Path:
        """The same at one setting alone."""
        s, o = slice(setting, setting + 1), self.operator
        return replace(self, operator=replace(o, coarse=o.coarse[..., s], fine=o.fine[..., s], weight=o.weight[..., s]))

    def cover(self, overlap_mm: float | None) -> float:
        """Share of the spot, as large as the faces, that a centred strip of the overlap's width covers."""
        if overlap_mm is None:
            return 1.0
        u = min(1.0, 0.5 * overlap_mm / self.face_radius_mm)
        return float(2.0 / np.pi * (np.arcsin(u) + u * np.sqrt(1.0 - u * u)))


@dataclass(frozen=True, kw_only=True)
class Levels:
    """One sheet, in all its `survey_cases`, before some pairs: N settings, those of all `paths` one after another.

    The frequencies of the films, and of what is known of the model, are those of the paths in turn. `limit`:
    `coarse_error` up to which a pile's response counts as resolved; `left`: what a piece of a panel may leave where it
    is not.
    """

    model: SheetModel
    films: Films
    paths: tuple[Path, ...]
    every_film: int = 1
    limit: float = SMOOTH
    left: float = LEFT

    @property
    def sheet(self) -> Sheet:
        return self.model.sheet

    def searching(self) -> Levels:
        """The same, a little rougher, where only a search looks: with every second film."""
        return replace(self, every_film=2, limit=SMOOTH_TO_SEARCH, left=LEFT_ROUGHLY)

    def at_settings(self, settings: Sequence[tuple[int, int]]) -> Levels:
        """The same at some settings alone, each given as a path and its own setting: one path for each of them."""
        lines = list(self._lines())
        which = np.concatenate([lines[path] for path, _ in settings])
        return replace(
            self,
            model=self.model.at_frequencies(which),
            films=self.films.at_frequencies(which),
            paths=tuple(self.paths[path].at_setting(setting) for path, setting in settings),
            limit=SMOOTH_AT_SETTING,
            left=LEFT_ROUGHLY,
        )

    def single(self) -> Branches:
        """A correct sheet in every case: one ply, or as many as it has."""
        return self._branches(*self._pile(self.model, self.sheet.plies))

    def fewer(self, cases: int) -> Branches:
        """A sheet of plies that are counted, one missing, in the first cases."""
        plies = self.sheet.fewer_plies
        assert plies is not None
        return self._branches(*self._pile(self.model.first(cases), plies))

    def double(self, cases: int) -> Branches:
        """The plies of a double, as its two pieces touch and as far as they cover the spot; first cases."""
        model = self.model.first(cases)
        amplitudes, weights = self._second(model)
        covers = [path.cover(self.sheet.overlap_mm) for path in self.paths]
        if min(covers) < 1.0:
            single, _ = self._pile(model, self.sheet.plies)
            amplitudes = [
                cover * two + (1.0 - cover) * one.mean(axis=1, keepdims=True)
                for cover, two, one in zip(covers, amplitudes, single, strict=True)
            ]
        return self._branches(amplitudes, weights)

    def over_films(self, cases: int) -> Array:
        """Attenuation in dB (C, K, N) of two sheets with each of the K films of `FILM_M` between them, first cases."""
        every = np.arange(len(FILM_M))[None, :]
        return self._branches(self._through(self.model.first(cases), _pile, every), ONE).attenuation_db

    def _second(self, model: SheetModel) -> tuple[list[Complex], Array]:
        plies = self.sheet.double_plies
        match self.sheet.contact:
            case "air":
                return self._pile(model, plies)
            case "bonded" | "water-film" if plies > 2:
                return self._touching(model, plies)
            case "bonded":
                return self._bonded(model, plies), ONE
            case "water-film":
                weights = np.full((1, len(WATER_M)), 1.0 / len(WATER_M))
                wet = self._through(model, lambda m, k, _, f, s: m.wet(WATER_M[k], f, s), _no_joint(len(WATER_M)))
                return wet, weights
            case "partial":
                apart, weights = self._pile(model, plies)
                together = self._touching(model, plies)[0] if plies > 2 else self._bonded(model, plies)
                mixed = [
                    np.concatenate([share * one + (1.0 - share) * two for share in PARTIAL_CONTACT], axis=1)
                    for one, two in zip(together, apart, strict=True)
                ]
                return mixed, np.tile(weights, (1, len(PARTIAL_CONTACT))) / len(PARTIAL_CONTACT)

    def _touching(self, model: SheetModel, plies: int) -> tuple[list[Complex], Array]:
        """Amplitudes of a double of several plies whose two pieces touch: where they meet, the thinnest film stands for
        bond and water; the plies of either piece keep their air, by draws."""
        index, weights = film_weights(self.sheet.trapped_air, every=self.every_film)
        draws = draw_films(index, weights[0], joints=plies - 1)
        draws[self.sheet.plies - 1] = 0
        return self._through(model, _pile, draws), np.full((1, DRAWS), 1.0 / DRAWS)

    def _bonded(self, model: SheetModel, plies: int) -> list[Complex]:
        return self._through(model, lambda m, _k, _b, f, s: m.bonded(plies, f, s), _no_joint(1))

    def _pile(self, model: SheetModel, plies: int) -> tuple[list[Complex], Array]:
        """Amplitudes of plies with air between them: a single film by its distribution, more by draws."""
        draws, weights = _no_joint(1), ONE
        if plies > 1:
            index, weights = film_weights(self.sheet.trapped_air, every=self.every_film)
            draws = index[None, :]
        if plies > 2:
            draws = draw_films(index, weights[0], joints=plies - 1)
            weights = np.full((1, DRAWS), 1.0 / DRAWS)
        return self._through(model, _pile, draws), weights

    def _lines(self) -> Iterator[Indices]:
        """The places of each path's frequencies among all of them."""
        first = 0
        for path in self.paths:
            count = len(path.operator.frequency_hz)
            yield np.arange(first, first + count)
            first += count

    def _through(self, model: SheetModel, transmission: Through, draws: Indices) -> list[Complex]:
        """Amplitudes (C, K, F, N) by path, with films `draws` (joints, K); F the path's frequencies, N its settings."""
        at = self.films.frequency_hz[:, None], self.films.sin_theta
        samples = transmission(model, np.arange(draws.shape[1]), self.films.joints(draws, *at), *at)
        return [
            self._before(path, model, transmission, draws, samples[:, :, lines[0] : lines[-1] + 1])
            for path, lines in zip(self.paths, self._lines(), strict=True)
        ]

    def _before(
        self, path: Path, model: SheetModel, transmission: Through, draws: Indices, samples: Complex
    ) -> Complex:
        """From samples (C, K, F, 48) at the operator's own angles where they resolve a case, else resolved further."""
        shape = samples.shape[:2]
        samples = samples.reshape(-1, *samples.shape[2:])
        operator, floor_db = path.operator, path.floor_db
        amplitude = apply_samples(operator=operator, samples=samples)
        open_cases = np.arange(len(samples))
        if path.smooth:
            error = coarse_error(operator=operator, samples=samples, amplitude=amplitude, floor_db=floor_db)
            open_cases = np.flatnonzero(error >= self.limit)

        def pieces(place: tuple[Indices, ...], frequency: Array, sine: Array, known: Complex) -> Complex:
            case, branch = np.unravel_index(open_cases[place[0]], shape)
            return transmission(model.picked(case), branch, films_of_pieces(known), frequency, sine)

        def smooth(place: tuple[Indices, ...], frequency: Array, sine: Array) -> Complex:
            _, branch = np.unravel_index(open_cases[place[0]], shape)
            return self.films.over_pieces(draws[:, branch], frequency, sine)

        if len(open_cases):
            amplitude[open_cases] = amplitudes(
                operator=operator,
                samples=samples[open_cases],
                pieces=pieces,
                smooth=smooth,
                floor_db=floor_db,
                tolerance=self.left,
            )
        return amplitude.reshape(*shape, *amplitude.shape[1:])

    def _branches(self, amplitudes: Sequence[Complex], weights: Array) -> Branches:
        each = [
            power(operator=path.operator, amplitude=amplitude)
            for path, amplitude in zip(self.paths, amplitudes, strict=True)
        ]
        return Branches(attenuation_db=-decibels(np.concatenate(each, axis=-1)), weights=weights)


def _pile(model: SheetModel, _: Indices, between: list[Film], frequency_hz: Array, sin_theta: Array) -> Complex:
    return model.transmission_of_pile(between, frequency_hz, sin_theta)


def _no_joint(branches: int) -> Indices:
    return np.empty((0, branches), dtype=np.intp)


def levels_of(sheet: Sheet, pair: Pair) -> Levels:
    """The sheet before one pair."""
    return levels_before(sheet, Row(pairs=(pair,)))


def levels_before(sheet: Sheet, row: Row) -> Levels:
    """The sheet before the pairs of a row. Its nominal case shows, for each of them, whether it is smooth over angle;
    and over the band, where the centre alone then stands for it."""
    model = SheetModel(sheet=sheet, air=row.air, cases=survey_cases(sheet))
    frequency_hz, sin_theta = row.frequency_hz, row.sin_theta
    samples = model.first(1).transmission(frequency_hz[:, None], sin_theta)[0, 0]
    paths, chosen = [], []
    for pair, lines in zip(row.pairs, row.lines, strict=True):
        path, even = _path(pair, samples[lines])
        paths.append(path)
        chosen.append(lines[len(lines) // 2 :][:1] if even else lines)
    which = np.concatenate(chosen)
    return Levels(
        model=model.known_at(frequency_hz[which, None], sin_theta), films=row.films(which), paths=tuple(paths)
    )


def _path(pair: Pair, samples: Complex) -> tuple[Path, bool]:
    """The pair before a sheet of nominal response `samples` (F, 48) over the band; whether its centre is enough."""
    operator, floor_db = pair.operator, -pair.parameters.bypass_db
    amplitude = apply_samples(operator=operator, samples=samples)
    error = coarse_error(operator=operator, samples=samples, amplitude=amplitude, floor_db=floor_db)
    smooth = even = bool(error < SMOOTH)
    if smooth:
        at_centre = power(operator=pair.centre, amplitude=amplitude[len(samples) // 2, None])
        difference = decibels(power(operator=operator, amplitude=amplitude)) - decibels(at_centre)
        even = bool(np.max(np.abs(difference)) < EVEN_DB)
    path = Path(
        operator=pair.centre if even else operator,
        floor_db=floor_db,
        face_radius_mm=pair.parameters.face_radius_mm,
        smooth=smooth,
    )
    return path, even
