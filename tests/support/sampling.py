"""The stated model of an ultrasonic reading by plain sampling: nothing binned, every cause drawn from its own law."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sheetmargin_service.materials.material import TrappedAir
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicModel
from sheetmargin_service.principles.ultrasonic.films import FILM_VARIATION

Array = NDArray[np.float64]
FINE_FILM_M = np.geomspace(0.02e-6, 3e-3, 120)
SPOT = np.linspace(-4.8, 4.8, 481)
"""Places in the spot by their film, in standard deviations: twice as many, and twice as many films, change no rate of
these tests by more than 2 %."""
WEIGHT = np.exp(-0.5 * SPOT**2) / np.sum(np.exp(-0.5 * SPOT**2))


def sampled_films(air: TrappedAir, rng: np.random.Generator, draws: int) -> Array:
    """Films in m: a log-normal body on either side of its median, and a log-uniform loose branch."""
    z = rng.standard_normal(draws)
    width = np.where(z < 0.0, np.log(air.p50_um / air.p5_um), np.log(air.p95_um / air.p50_um)) / 1.6448536
    loose = air.p95_um * (air.loose_max_um / air.p95_um) ** rng.random(draws)
    body = np.maximum(air.p50_um * np.exp(width * z), air.least_um)
    return 1e-6 * np.where(rng.random(draws) < air.loose_share, loose, body)


@dataclass(frozen=True)
class Sampler:
    """One class by itself, one sheet, one setting, in the nominal case."""

    class_model: UltrasonicModel
    sheet: Sheet
    setting: int
    seed: int = 1

    def single(self, draws: int) -> Array:
        """Steady attenuation of one sheet."""
        rng = np.random.default_rng(self.seed)
        one = self.class_model.levels_of(self.sheet).single
        true = np.full(draws, one.branches.attenuation_db[0, 0, self.setting])
        return self._steady(true, float(one.variance[self.setting]), rng)

    def double(self, draws: int, *, clinging: float = 0.0) -> Array:
        """Steady attenuation of two sheets, a share of them without air between them."""
        rng = np.random.default_rng(self.seed + 1)
        films = sampled_films(self.sheet.trapped_air, rng, draws)
        true = np.interp(np.log(films), np.log(FINE_FILM_M), self.two_db())
        true = np.where(rng.random(draws) < clinging, self.clinging_db(), true)
        variance = 2.0 * float(self.class_model.levels_of(self.sheet).single.variance[self.setting])
        return self._steady(true, variance, rng)

    def clinging_db(self) -> float:
        """Attenuation of two sheets welded to each other."""
        levels = self.class_model.levels_of(self.sheet).levels.at_settings(
            [(0, int(self.class_model.pair_group.keep[self.setting]))]
        )
        return float(levels.blocked(1).attenuation_db[0, 0, 0])

    def two_db(self) -> Array:
        """Attenuation of two sheets at `FINE_FILM_M`."""
        levels = self.class_model.levels_of(self.sheet).levels.at_settings(
            [(0, int(self.class_model.pair_group.keep[self.setting]))]
        )

        def through(model, branch, frequency_hz, sin_theta):
            # What the receiver hears is the mean of the pressure over a spot in which the film varies.
            films = FINE_FILM_M[branch] * (1.0 + FILM_VARIATION * SPOT[:, None])
            two = (model.transmission_of_flat_stack(film[None], frequency_hz, sin_theta) for film in films)
            return sum(w * each for w, each in zip(WEIGHT, two, strict=True))

        amplitude = levels._through("a spot", levels.model.first(1), through, branches=len(FINE_FILM_M), plies=0)
        return levels._branches(amplitude, np.ones(1)).attenuation_db[0, :, 0]

    def _steady(self, true_db: Array, variance: float, rng: np.random.Generator) -> Array:
        """Bounces on both sides, what varies from sheet to sheet, the bypass, what moves every state."""
        b, draws = self.class_model, len(true_db)
        one = b.levels_of(self.sheet).single
        bounce = float(b.pair_group.bounce_amplitude(one.mean)[self.setting])
        level = true_db + np.sqrt(variance) * rng.standard_normal(draws)
        for _ in range(2):
            level += 20.0 * np.log10(np.abs(1.0 - bounce * np.exp(2j * np.pi * rng.random(draws))))
        bypass_db = float(b.floors_db[0][self.setting])
        amplitude = 10.0 ** (-0.05 * level) * np.exp(2j * np.pi * rng.random(draws)) + 10.0 ** (-0.05 * bypass_db)
        p = b.parameters
        common = np.sqrt(float(b.pair_group.common_variance[self.setting]))
        assert p.drift_db / 1.959964 <= common + 1e-6
        return -20.0 * np.log10(np.abs(amplitude)) + common * rng.standard_normal(draws)

    def shares_ppm(self, steady_db: Array, *, low: float, high: float, readings: int, run: int) -> dict[str, float]:
        """How often a run of readings lies below the band and above it, and how often neither happens, per million."""
        rng = np.random.default_rng(self.seed + 2)
        noise = np.sqrt(0.5) * 10.0 ** (-0.05 * float(self.class_model.floors_db[1][self.setting]))
        # Only signals within reach of an edge need their readings drawn.
        signal, floor = 10.0 ** (-0.05 * steady_db), 10.0 * noise
        near = np.zeros(len(signal), dtype=bool)
        for edge in (10.0 ** (-0.05 * low), 10.0 ** (-0.05 * high)):
            near |= np.abs(signal - edge) < floor
        below, above = steady_db < low, steady_db > high
        counted = np.flatnonzero(near)
        runs = np.zeros((2, len(counted)), dtype=int)
        seen = np.zeros((2, len(counted)), dtype=bool)
        for _ in range(readings):
            parts = rng.standard_normal((2, len(counted)))
            reading = -20.0 * np.log10(np.abs(signal[counted] + noise * (parts[0] + 1j * parts[1])))
            runs = np.where([reading < low, reading > high], runs + 1, 0)
            seen |= runs >= run
        below[counted], above[counted] = seen
        return {
            "below": 1e6 * float(np.mean(below)),
            "above": 1e6 * float(np.mean(above)),
            "neither": 1e6 * float(np.mean(~below & ~above)),
        }
