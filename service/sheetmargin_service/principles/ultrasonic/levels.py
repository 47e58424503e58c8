"""Attenuation of one sheet, of two, and of a ply fewer: every branch of what lies between them, at all settings."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.contour import Contour
from sheetmargin_service.acoustics.operators import Operator, apply_samples, decibels, power
from sheetmargin_service.acoustics.poles import (
    Evaluate,
    Poles,
    find_poles,
    find_poles_of_halves,
    put_back,
    take_out,
    unresolved,
)
from sheetmargin_service.cached import cached_property
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.ultrasonic.films import (
    FILM_M,
    FILM_VARIATION,
    Films,
    drawn_film_weights,
    film_weights,
)
from sheetmargin_service.principles.ultrasonic.pair import Pair, Row
from sheetmargin_service.principles.ultrasonic.responses import (
    DRAWS,
    WATER_M,
    Case,
    SheetModel,
    draw_films,
    drawn_cases,
    first_order_cases,
    lossy,
)
from sheetmargin_service.principles.ultrasonic.waves import KeptWaves, Waves

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]
Through = Callable[[SheetModel, Indices, Array, Complex], Complex]
"""Transmission of a model's branches (K,), at frequencies and sines: on its grid, or picked."""

PARTIAL_CONTACT = np.array([0.1, 0.3, 0.6])
"""Share of the beam's spot in which two partly bonded sheets touch, three branches alike (illustrative)."""
ONE = np.ones(1)
UNEVEN_NODES, UNEVEN_NODES_TO_SEARCH = 3, 1
"""Films of a Gauss-Hermite mean over the spot where two sheets have poles near the path of integration; a search looks
at the middle one alone."""
LEAST_TURNS = 0.4
"""Wavelengths of the slowest wave across a sheet below which none runs backward: they do so near thickness resonances,
of which the first is at a half. Some room is left, as losses blur where they begin."""
ABOUT_RAD = 0.05
"""How far from a pole of one sheet those of two are looked for."""
BENT_TURNS = 0.25
"""Wavelengths of the slowest wave across a sheet from which one sheet is computed in every draw: towards its first
thickness resonance its level runs over stiffness and size as no parabola does."""
EVERY_FILM_MOVED = 2
"""Of so many films one is asked for what is not known of the sheet: by the weights of the films within 0.2 dB or a
twentieth of what it changes."""
EVEN_DB = 0.02
"""Difference between band and centre up to which the centre stands for the band."""


@dataclass(frozen=True, kw_only=True)
class Branches:
    """Attenuation in dB (C, K, N) of C cases and K branches at N settings, and the branches' weights (K,)."""

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
    """A pair as it is needed before one sheet: over its band or at the band's centre alone."""

    operator: Operator
    face_radius_mm: float

    def at_setting(self, setting: int) -> Path:
        """The same at one setting alone."""
        return replace(self, operator=self.operator.at_setting(setting))

    def cover(self, overlap_mm: float | None) -> float:
        """Share of the spot, as large as the faces, that a centred strip of the overlap's width covers."""
        if overlap_mm is None:
            return 1.0
        u = min(1.0, 0.5 * overlap_mm / self.face_radius_mm)
        return float(2.0 / np.pi * (np.arcsin(u) + u * np.sqrt(1.0 - u * u)))


@dataclass(frozen=True, kw_only=True)
class Levels:
    """One sheet, in all its `first_order_cases`, before some pairs: N settings, those of all `paths` one after another.

    The frequencies of the films, and of what is known of the model, are those of all paths; `lines` has the places of
    each path's own among them. `poles` are those of one ply in all cases and at all frequencies (C, 1, F), `span_rad`
    (2, F) the real angles about those that two sheets have to be asked about, too: empty, the first above the second,
    where there are none. `waves` keeps what passes through two sheets; None keeps nothing.
    """

    model: SheetModel
    films: Films
    paths: tuple[Path, ...]
    lines: tuple[Indices, ...]
    poles: Poles
    span_rad: Array
    every_film: int = 1
    uneven_nodes: int = UNEVEN_NODES
    waves: KeptWaves | None = None

    @property
    def sheet(self) -> Sheet:
        return self.model.sheet

    def searching(self) -> Levels:
        """The same, a little rougher, where only a search looks: with every second film."""
        return replace(self, every_film=2, uneven_nodes=UNEVEN_NODES_TO_SEARCH)

    def at_settings(self, settings: Sequence[tuple[int, int]], *, waves: KeptWaves | None = None) -> Levels:
        """The same at some settings alone, each given as a path and its own setting: one path for each of them."""
        lines = [self.lines[path] for path, _ in settings]
        which = np.unique(np.concatenate(lines))
        return replace(
            self,
            model=self.model.at_frequencies(which),
            films=self.films.at_frequencies(which),
            paths=tuple(self.paths[path].at_setting(setting) for path, setting in settings),
            lines=tuple(np.searchsorted(which, own) for own in lines),
            span_rad=self.span_rad[:, which],
            waves=waves,
        )

    def single(self) -> Branches:
        """A correct sheet in every case: one ply, or as many as it has."""
        return self._branches(*self._stack(self.model, self.sheet.plies))

    @cached_property
    def _drawn(self) -> SheetModel:
        """The sheet in each draw."""
        return self.model.of_cases(drawn_cases(self.sheet))

    def drawn_samples(self, path: int) -> tuple[Complex, Poles] | None:
        """Transmission of one sheet of one ply in each draw, (J, 1, F, S), at a path's frequencies, with its poles.

        None where parabolas are good enough for it.
        """
        lines = self.lines[path]
        at = self.films.frequency_hz[lines]
        if self.sheet.plies > 1 or self.model.first(1).turns(at).max() < BENT_TURNS:
            return None
        samples = self._drawn.transmission(at[:, None], self.films.sin_theta)
        if not np.isin(self.poles.row % len(self.films.frequency_hz), lines).any():
            # What has no poles in any case has none in between.
            return samples, Poles.none()
        evaluate = _picked(self._drawn, _of_ply, at, samples.shape[:3])
        contour = self.paths[path].operator.contour
        return samples, _thick_poles(contour, self._drawn, at, samples, evaluate, plies=1)

    def drawn_single(self, path: int, setting: int, samples: tuple[Complex, Poles]) -> Array:
        """Attenuation of one sheet in each draw, (J,), at a setting of a path, from its samples there."""
        own = (np.arange(len(self.lines[path])),)
        there = replace(self, paths=(self.paths[path].at_setting(setting),), lines=own)
        amplitudes = there._apply(*samples, np.arange(samples[0].shape[2]))
        return there._branches(amplitudes, ONE).attenuation_db[:, 0, 0]

    def fewer(self, cases: int) -> Branches:
        """A sheet of plies that are counted, one missing, in the first cases."""
        plies = self.sheet.fewer_plies
        assert plies is not None
        return self._branches(*self._stack(self.model.first(cases), plies))

    def double(self, cases: int) -> Branches:
        """The plies of a double, as its two pieces touch and as far as they cover the spot; first cases.

        What is not known moves neighbouring films alike: it is asked for every second one, but where poles lie near at
        a pair's own frequencies, whatever others are asked about with it.
        """
        model, sheet = self.model.first(cases), self.sheet
        with_poles = self._with_poles
        if cases == 1 or with_poles.all() or sheet.contact != "air" or sheet.double_plies > 2:
            return self._lapping(model, *self._second(model))
        nominal = self.double(1)
        index, _ = film_weights(sheet.trapped_air, every=self.every_film)
        some = np.unique([*range(0, len(index), EVERY_FILM_MOVED), len(index) - 1])
        moved = self._lapping(model, self._with_films(model, index[None, some]), ONE).attenuation_db
        change = _between(moved - moved[:1], np.interp(np.arange(len(index)), some, np.arange(len(some))))
        attenuation_db = nominal.attenuation_db + change
        if with_poles.any():
            every = self._lapping(model, *self._second(model)).attenuation_db
            attenuation_db = np.where(with_poles, every, attenuation_db)
        return replace(nominal, attenuation_db=attenuation_db)

    @property
    def _with_poles(self) -> Flags:
        """Whether two sheets have to be asked about poles at a setting, (N,)."""
        lines = self.span_rad[0] < self.span_rad[1]
        counts = [path.operator.at_nodes.shape[-1] for path in self.paths]
        return np.repeat([lines[own].any() for own in self.lines], counts)

    def blocked(self, cases: int) -> Branches:
        """The same of a double whose pieces cling to each other, without air between them."""
        model, plies = self.model.first(cases), self.sheet.double_plies
        if plies > 2:
            return self._lapping(model, *self._touching(model, plies))
        return self._lapping(model, self._bonded(model, plies), ONE)

    def drawn_weights(self, branches: Branches) -> Array:
        """Weights (draws or 1, K) of a double's branches in each draw of what is not known of the air between its
        pieces; of stacks of three and more, whose films are drawn, that is left out."""
        if self.sheet.double_plies != 2 or self.sheet.contact not in ("air", "partial"):
            return branches.weights[None, :]
        drawn = drawn_film_weights(self.sheet.trapped_air)
        times = len(branches.weights) // drawn.shape[1]
        return np.asarray(np.tile(drawn, times) / times)

    def _lapping(self, model: SheetModel, amplitudes: list[Complex], weights: Array) -> Branches:
        """A double as far as its two pieces cover the spot."""
        covers = [path.cover(self.sheet.overlap_mm) for path in self.paths]
        if min(covers) < 1.0:
            single, _ = self._stack(model, self.sheet.plies)
            amplitudes = [
                cover * two + (1.0 - cover) * one.mean(axis=1, keepdims=True)
                for cover, two, one in zip(covers, amplitudes, single, strict=True)
            ]
        return self._branches(amplitudes, weights)

    def over_films(self, cases: int) -> Array:
        """Attenuation in dB (C, K, N) of two sheets with each of the K films of `FILM_M` between them, first cases."""
        every = np.arange(len(FILM_M))[None, :]
        return self._branches(self._with_films(self.model.first(cases), every), ONE).attenuation_db

    def _second(self, model: SheetModel) -> tuple[list[Complex], Array]:
        plies = self.sheet.double_plies
        match self.sheet.contact:
            case "air":
                return self._stack(model, plies)
            case "bonded" | "water-film" if plies > 2:
                return self._touching(model, plies)
            case "bonded":
                return self._bonded(model, plies), ONE
            case "water-film":
                weights = np.full(len(WATER_M), 1.0 / len(WATER_M))
                wet = self._through(
                    "water", model, lambda m, k, f, s: m.wet(WATER_M[k], f, s), branches=len(WATER_M), plies=2
                )
                return wet, weights
            case "partial":
                apart, weights = self._stack(model, plies)
                together = self._touching(model, plies)[0] if plies > 2 else self._bonded(model, plies)
                mixed = [
                    np.concatenate([share * one + (1.0 - share) * two for share in PARTIAL_CONTACT], axis=1)
                    for one, two in zip(together, apart, strict=True)
                ]
                return mixed, np.tile(weights, len(PARTIAL_CONTACT)) / len(PARTIAL_CONTACT)

    def _touching(self, model: SheetModel, plies: int) -> tuple[list[Complex], Array]:
        """Amplitudes of a double of several plies whose two pieces touch: where they meet, the thinnest film stands for
        bond and water; the plies of either piece keep their air, by draws."""
        index, weights = film_weights(self.sheet.trapped_air, every=self.every_film)
        draws = draw_films(index, weights, joints=plies - 1)
        draws[self.sheet.plies - 1] = 0
        return self._with_films(model, draws), np.full(DRAWS, 1.0 / DRAWS)

    def _bonded(self, model: SheetModel, plies: int) -> list[Complex]:
        return self._through("bonded", model, lambda m, _, f, s: m.bonded(plies, f, s), branches=1, plies=plies)

    def _stack(self, model: SheetModel, plies: int) -> tuple[list[Complex], Array]:
        """Amplitudes of plies with air between them: a single film by its distribution, more by draws."""
        if plies == 1:
            return self._of_one(model), ONE
        index, weights = film_weights(self.sheet.trapped_air, every=self.every_film)
        draws = index[None, :]
        if plies > 2:
            draws = draw_films(index, weights, joints=plies - 1)
            weights = np.full(DRAWS, 1.0 / DRAWS)
        return self._with_films(model, draws), weights

    def _of_one(self, model: SheetModel) -> list[Complex]:
        """Amplitudes (C, 1, F, N) of one ply by path."""
        samples = model.transmission(self.films.frequency_hz[:, None], self.films.sin_theta)
        poles = self.poles.some(self.poles.row < len(model.cases) * samples.shape[2])
        return self._apply(samples, poles, np.arange(samples.shape[2]))

    def _with_films(self, model: SheetModel, draws: Indices) -> list[Complex]:
        """Amplitudes (C, K, F, N) of plies with films `draws` (joints, K) between them, by path.

        The mean over a film that varies within the spot is no rational function, and has no poles to be taken out. At
        frequencies where a ply has some it is made of even films, each with the poles that two sheets have there.
        """

        def compute(new: Indices) -> Waves:
            films = self.films.at_frequencies(new)
            between = [films.between(joint) for joint in draws]
            stack = model.at_frequencies(new)
            samples = stack.transmission_of_stack(between, films.frequency_hz[:, None], films.sin_theta)
            return Waves(samples=samples, poles=Poles.none())

        amplitudes = self._kept(("uneven films", len(model.cases), draws.tobytes()), compute)
        which = np.flatnonzero(self.span_rad[0] < self.span_rad[1])
        if not len(which):
            return amplitudes
        x, weights = np.polynomial.hermite_e.hermegauss(self.uneven_nodes if len(draws) == 1 else 1)
        film_m = (FILM_M[draws][..., None] * (1.0 + FILM_VARIATION * x)).reshape(len(draws), -1)
        resolved = self._through(
            ("even films", self.uneven_nodes, draws.tobytes()),
            model,
            lambda m, k, f, s: m.transmission_of_flat_stack(film_m[:, k], f, s),
            branches=film_m.shape[1],
            plies=len(draws) + 1,
            which=which,
            halves=(lambda m, k, f, s: m.halves_of_flat_pair(film_m[0, k], f, s)) if len(draws) == 1 else None,
        )
        for lines, amplitude, found in zip(self.lines, amplitudes, resolved, strict=True):
            by_film = found.reshape(*amplitude.shape[:2], len(x), *found.shape[2:])
            amplitude[:, :, np.isin(lines, which)] = np.einsum("ckuln,u->ckln", by_film, weights / weights.sum())
        return amplitudes

    def _through(
        self,
        what: Hashable,
        model: SheetModel,
        through: Through,
        *,
        branches: int,
        plies: int,
        which: Indices | None = None,
        halves: Through | None = None,
    ) -> list[Complex]:
        """Amplitudes (C, K, F, N) by path of a transmission whose only singularities are poles, at the frequencies
        `which` of all. `halves`: two functions that share its poles, (2, C, K, F, S), where they lie close."""
        which = np.arange(len(self.films.frequency_hz)) if which is None else which
        contour, every = self.paths[0].operator.contour, np.arange(branches)

        def compute(new: Indices) -> Waves:
            frequency_hz, stack = self.films.frequency_hz[which[new]], model.at_frequencies(which[new])
            at = frequency_hz[:, None], self.films.sin_theta
            samples = through(stack, every, *at)
            evaluate = _picked(stack, through, frequency_hz, samples.shape[:3])
            if halves is None:
                poles = _thick_poles(contour, stack, frequency_hz, samples, evaluate, plies=plies)
            else:
                poles = find_poles_of_halves(
                    contour=contour,
                    halves=halves(stack, every, *at).reshape(2, -1, samples.shape[3]),
                    evaluate_halves=_picked(stack, halves, frequency_hz, samples.shape[:3]),
                    evaluate=evaluate,
                    span_rad=np.tile(self.span_rad[:, which[new]], np.prod(samples.shape[:2])),
                )
            return Waves(samples=samples, poles=poles)

        return self._kept((what, plies, len(model.cases)), compute, which)

    def _kept(self, what: Hashable, compute: Callable[[Indices], Waves], which: Indices | None = None) -> list[Complex]:
        """Amplitudes (C, K, F, N) by path of waves at the frequencies `which` of all, computed where they are not
        known."""
        which = np.arange(len(self.films.frequency_hz)) if which is None else which
        if self.waves is None:
            waves = compute(np.arange(len(which)))
        else:
            waves = self.waves.at(what, self.films.frequency_hz[which], compute)
        return self._apply(waves.samples, waves.poles, which)

    def _apply(self, samples: Complex, poles: Poles, which: Indices) -> list[Complex]:
        """Amplitudes (C, K, F, N) by path from samples (C, K, F, S) at the frequencies `which`, and poles by their row
        of (C, K, F)."""
        shape = samples.shape[:3]
        contour = self.paths[0].operator.contour
        if len(poles.row):
            samples = take_out(contour=contour, samples=samples.reshape(-1, samples.shape[3]), poles=poles)
            samples = samples.reshape(*shape, -1)
        case, branch, line = np.unravel_index(poles.row, shape)
        amplitudes = []
        for path, lines in zip(self.paths, self.lines, strict=True):
            own = np.flatnonzero(np.isin(lines, which))
            operator, places = path.operator.at_lines(own), np.searchsorted(which, lines[own])
            amplitude = apply_samples(operator=operator, samples=samples[:, :, _run(places)])
            for number, place in enumerate(places):
                here = np.flatnonzero(line == place)
                if len(here):
                    given = put_back(operator=operator, line=number, poles=poles.some(here))
                    np.add.at(amplitude[:, :, number], (case[here], branch[here]), given)
            amplitudes.append(amplitude)
        return amplitudes

    def _branches(self, amplitudes: Sequence[Complex], weights: Array) -> Branches:
        each = [
            power(operator=path.operator, amplitude=amplitude)
            for path, amplitude in zip(self.paths, amplitudes, strict=True)
        ]
        return Branches(attenuation_db=-decibels(np.concatenate(each, axis=-1)), weights=weights)


def _between(values: Array, places: Array) -> Array:
    """Values (C, K, N) at places (M,) between those of their second axis, (C, M, N)."""
    left = np.minimum(places.astype(np.intp), values.shape[1] - 2)
    share = (places - left)[:, None]
    return np.asarray((1.0 - share) * values[:, left] + share * values[:, left + 1])


def _run(places: Indices) -> slice | Indices:
    """Places that stand one after another as a slice, which copies nothing."""
    if not len(places):
        return slice(0)
    return slice(int(places[0]), int(places[-1]) + 1) if places[-1] - places[0] == len(places) - 1 else places


def _picked(model: SheetModel, through: Through, frequency_hz: Array, shape: tuple[int, ...]) -> Evaluate:
    """A transmission at angles (P,), each of one row of its samples (C, K, F)."""

    def evaluate(row: Indices, theta: Complex) -> Complex:
        case, branch, line = np.unravel_index(row, shape)
        return through(model.picked(case), branch, frequency_hz[line, None], np.sin(theta)[:, None])[..., 0]

    return evaluate


def _thick_poles(
    contour: Contour, model: SheetModel, frequency_hz: Array, samples: Complex, evaluate: Evaluate, *, plies: int
) -> Poles:
    """Poles that matter of a transmission, by their row of its samples (C, K, F, S): thin sheets have none, and those
    of lossy ones lie far from the path."""
    if lossy(model.sheet):
        return Poles.none()
    thick = plies * model.turns(frequency_hz) > LEAST_TURNS
    rows = np.flatnonzero(np.broadcast_to(thick[:, None], samples.shape[:3]))
    if not len(rows):
        return Poles.none()
    found = find_poles(
        contour=contour,
        samples=samples.reshape(-1, samples.shape[3])[rows],
        evaluate=lambda row, theta: evaluate(rows[row], theta),
    )
    return replace(found, row=rows[found.row])


def _of_ply(model: SheetModel, _: Indices, frequency_hz: Array, sin_theta: Complex) -> Complex:
    return model.transmission(frequency_hz, sin_theta)


def levels_of(sheet: Sheet, pair: Pair) -> Levels:
    """The sheet before one pair."""
    return levels_before(sheet, Row(pairs=(pair,)))


def levels_before(sheet: Sheet, row: Row) -> Levels:
    """The sheet before the pairs of a row. Its nominal case shows, for each of them, whether it is even over the band:
    the centre alone then stands for it."""
    nominal = SheetModel(sheet=sheet, air=row.air, cases=(Case(),))
    frequency_hz, sin_theta = row.frequency_hz, row.sin_theta
    model = nominal.of_cases(first_order_cases(sheet))
    samples = nominal.transmission(frequency_hz[:, None], sin_theta)[0, 0]
    paths, chosen = [], []
    for pair, lines in zip(row.pairs, row.lines, strict=True):
        even = _even(pair, samples[lines])
        paths.append(
            Path(operator=pair.centre if even else pair.operator, face_radius_mm=pair.parameters.face_radius_mm)
        )
        chosen.append(lines[len(lines) // 2 :][:1] if even else lines)
    which = np.unique(np.concatenate(chosen))
    at, model = frequency_hz[which], model.known_at(frequency_hz[which, None], sin_theta)
    samples = model.transmission(at[:, None], sin_theta)
    contour = paths[0].operator.contour
    poles = _thick_poles(contour, model, at, samples, _picked(model, _of_ply, at, samples.shape[:3]), plies=1)
    return Levels(
        model=model,
        films=row.films(which),
        paths=tuple(paths),
        lines=tuple(np.searchsorted(which, own) for own in chosen),
        poles=poles,
        span_rad=_span_rad(poles.some(unresolved(contour=contour, poles=poles)), len(which)),
    )


def _span_rad(poles: Poles, lines: int) -> Array:
    """Real angles (2, F) about the poles at each frequency: those of two sheets grow out of those of one."""
    span = np.stack([np.full(lines, np.inf), np.full(lines, -np.inf)])
    np.minimum.at(span[0], poles.row % lines, poles.theta.real - ABOUT_RAD)
    np.maximum.at(span[1], poles.row % lines, poles.theta.real + ABOUT_RAD)
    return span


def _even(pair: Pair, samples: Complex) -> bool:
    """Whether the centre of a pair's band is enough before a sheet of nominal response `samples` (F, S) over it: of a
    class, at all that it is searched at, so that a place reads alike whatever else is asked for."""
    operator, middle = pair.searched or pair.operator, len(samples) // 2
    amplitude = apply_samples(operator=operator, samples=samples)
    at_centre = power(operator=operator.at_line(middle), amplitude=amplitude[middle, None])
    difference = decibels(power(operator=operator, amplitude=amplitude)) - decibels(at_centre)
    return bool(np.max(np.abs(difference)) < EVEN_DB)
