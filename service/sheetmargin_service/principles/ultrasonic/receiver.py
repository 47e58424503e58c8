"""What a receiver makes of a level: bypass at a random phase, and noise."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import chndtr, chndtrix, ndtr, ndtri

from sheetmargin_service.constants import Z95
from sheetmargin_service.principles.draws import drawn
from sheetmargin_service.principles.noise import Floor, Noise, places_in_bin
from sheetmargin_service.principles.signal_grid import SignalGrid, phase_nodes
from sheetmargin_service.principles.ultrasonic.spreads import GRID

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
BYPASS_PHASES = 6
BYPASS_DB = 6.0
"""How far the bypass of a pair as it is mounted lies from that of its class either way, with 90 %: its bracket and what
stands around it reflect (typical, from memory)."""
NEAR_DB = 40.0
"""A floor this far below the signal moves it by less than 0.1 dB; a signal this far below a floor is lost in it."""
PERCENTILES = (0.01, 0.5, 0.99)
_DECIMALS = 2
_STEP_DB = 0.25


def bypass_floor(grid: SignalGrid, *, bypass_db: float, open_db: float) -> Floor:
    """What the bypass makes of a level, the open path `open_db` above the one that `bypass_db` is given for. It adds at
    a phase that is uniform, turns with temperature and sheet position, and stays while a sheet passes."""
    first, share, remainder = _place(grid, bypass_db, open_db)
    return Floor(first=first, matrix=_bypass_matrix(grid.step, remainder), share=share)


@lru_cache(maxsize=1)
def bypass_steps() -> Indices:
    """By how many steps of the grid the bypass of the pair as it is mounted lies further from the signal in each draw:
    less, as stated or more, a third of the draws each, at their means."""
    third = float(ndtri(2.0 / 3.0))
    mean = 3.0 * float(np.exp(-0.5 * third**2)) / np.sqrt(2.0 * np.pi)
    steps = round(mean * BYPASS_DB / Z95 / GRID.step)
    return np.asarray(steps * (np.digitize(drawn("bypass"), [-third, third]) - 1), dtype=np.intp)


@lru_cache(maxsize=1024)
def receiver_noise(grid: SignalGrid, *, noise_db: float, open_db: float) -> Noise:
    """What complex Gaussian noise makes of one reading, likewise."""
    first, share, remainder = _place(grid, noise_db, open_db)
    floor_db = grid.low + first * grid.step + NEAR_DB + remainder

    def beyond(edge_db: float) -> Array:
        return _beyond(grid.step, remainder, round(edge_db - floor_db, _DECIMALS))

    floor = Floor(first=first, matrix=_noise_matrix(grid.step, remainder), share=share)
    return Noise(floor=floor, beyond=beyond)


def _place(grid: SignalGrid, floor_db: float, open_db: float) -> tuple[int, float, float]:
    """Grid point `NEAR_DB` above a floor, how near the open path brings the floor to the next, and how far in dB the
    floor itself lies from a grid point: the same for a class at every gap, so that its tables serve them all."""
    steps = (floor_db - grid.low) / grid.step
    remainder = round((steps - round(steps)) * grid.step, _DECIMALS)
    # At the reference gap the open path is at 0 but for rounding, of either sign.
    whole, share = divmod(round(open_db / grid.step, 9), 1.0)
    return round(steps) + int(whole) - round(NEAR_DB / grid.step), share, remainder


def _near(step: float, remainder: float) -> SignalGrid:
    """Attenuations near a floor, relative to it: as the grid has them, `NEAR_DB` to either side."""
    half = round(NEAR_DB / step)
    return SignalGrid(low=-half * step - remainder, step=step, count=2 * half)


@lru_cache(maxsize=64)
def _bypass_matrix(step: float, remainder: float) -> Array:
    near = _near(step, remainder)
    amplitude = np.abs(10.0 ** (-0.05 * near.centres)[:, None] + np.exp(1j * phase_nodes(BYPASS_PHASES)))
    return near.bin_nodes(-20.0 * np.log10(amplitude), np.full(BYPASS_PHASES, 1.0 / BYPASS_PHASES))


@lru_cache(maxsize=64)
def _noise_matrix(step: float, remainder: float) -> Array:
    near = _near(step, remainder)
    between = near.low + step * (np.arange(1, near.count) - 0.5)
    beyond = np.stack([reading_beyond(near.centres, edge, noise_db=0.0) for edge in between], axis=1)
    return np.asarray(-np.diff(beyond, axis=1, prepend=1.0, append=0.0))


@lru_cache(maxsize=1024)
def _beyond(step: float, remainder: float, edge_db: float) -> Array:
    steady = _near(step, remainder).centres[:, None] + step * places_in_bin()
    chance = reading_beyond(steady, edge_db, noise_db=0.0)
    chance.setflags(write=False)
    return chance


def reading_beyond(steady_db: Array, edge_db: float, *, noise_db: float) -> Array:
    """Chance that one reading of steady attenuations lies above an edge, in complex Gaussian noise at `noise_db`.

    The power is non-central chi-square with two degrees of freedom (Rice, Bell Syst. Tech. J. 24, 46, 1945); from 20 dB
    above the noise its root is as good as Gaussian.
    """
    signal = 10.0 ** (0.05 * (noise_db - steady_db))
    edge = 10.0 ** (0.05 * (noise_db - edge_db))
    chance = ndtr(np.sqrt(2.0) * (edge - signal - 0.25 / signal))
    low = signal < 10.0
    chance[low] = chndtr(2.0 * edge**2, 2.0, 2.0 * signal[low] ** 2)
    return np.asarray(chance)


def read_percentiles(p1: Array, p50: Array, p99: Array, *, bypass_db: Array, noise_db: Array) -> tuple[Array, ...]:
    """p1, p50 and p99 of one reading from those of the steady attenuation, to first order; all (N,), in dB.

    The spreads of the level, of the bypass' phase and of the noise are apart from each other: how far each alone moves
    a reading from its median adds up as squares. That meets sampled readings within 1.8 dB for p1 and 0.9 for p50; p99
    of a level within 10 dB of a floor comes out up to 10 dB too small.
    """

    def read(steady: Array, phase: int, chance: int) -> Array:
        return _with_noise(_with_bypass(steady, bypass_db, PERCENTILES[phase]), noise_db, chance)

    median = read(p50, 1, 1)

    def end(level: Array, which: int) -> Array:
        alone = read(level, 1, 1), read(p50, which, 1), read(p50, 1, which)
        return np.sqrt(sum(np.square(one - median) for one in alone))

    return median - end(p1, 0), median, median + end(p99, 2)


def _with_bypass(steady_db: Array, bypass_db: Array, share: float) -> Array:
    """Attenuation of a level with the bypass, at the phase that so large a share of all phases leaves less of."""
    level, bypass = 10.0 ** (-0.05 * steady_db), 10.0 ** (-0.05 * bypass_db)
    power = level**2 + bypass**2 + 2.0 * np.cos(np.pi * share) * level * bypass
    return np.asarray(-10.0 * np.log10(power))


def _with_noise(steady_db: Array, noise_db: Array, which: int) -> Array:
    """A percentile of one reading of a steady level."""
    below = np.minimum(steady_db - noise_db, NEAR_DB)
    places, added = _noise_percentiles()
    return np.asarray(noise_db + below + np.interp(below, places, added[which]))


@lru_cache(maxsize=1)
def _noise_percentiles() -> tuple[Array, Array]:
    """Attenuations relative to the noise (W,), and what noise adds to them in each of `PERCENTILES` (3, W)."""
    places = np.arange(-NEAR_DB, NEAR_DB + _STEP_DB, _STEP_DB)
    signal = 10.0 ** (-0.05 * places)
    amplitudes = []
    for share in PERCENTILES:
        gaussian = signal + 0.25 / signal + ndtri(1.0 - share) / np.sqrt(2.0)
        rice = np.sqrt(0.5 * chndtrix(1.0 - share, 2.0, 2.0 * np.minimum(signal, 10.0) ** 2))
        amplitudes.append(np.where(signal < 10.0, rice, gaussian))
    return places, -20.0 * np.log10(np.array(amplitudes)) - places
