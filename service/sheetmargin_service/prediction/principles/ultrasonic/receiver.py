"""What a receiver makes of a level: bypass at a random phase, and noise."""

from __future__ import annotations

from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import chndtr, ndtr

from sheetmargin_service.prediction.grid import SignalGrid, phase_nodes
from sheetmargin_service.prediction.noise import Noise, shifted

Array = NDArray[np.float64]
BYPASS_PHASES = 6


def add_powers_db(attenuation_db: Array, *floors_db: Array | float) -> Array:
    """Attenuation of a signal plus incoherent floors, all as attenuations; shapes broadcast."""
    power = 10.0 ** (-0.1 * attenuation_db)
    for floor in floors_db:
        power = power + 10.0 ** (-0.1 * np.asarray(floor))
    return np.asarray(-10.0 * np.log10(power))


@lru_cache(maxsize=64)
def _bypass_matrix(grid: SignalGrid, bypass_db: float) -> Array:
    """Row i (count, count): a true attenuation of grid point i with the bypass at a phase that is uniform.

    The phase turns with temperature and sheet position, and stays while a sheet passes.
    """
    signal = 10.0 ** (-0.05 * grid.centres)
    bypass = 10.0 ** (-0.05 * bypass_db)
    amplitude = np.abs(signal[:, None] + bypass * np.exp(1j * phase_nodes(BYPASS_PHASES)))
    return grid.bin_nodes(-20.0 * np.log10(amplitude), np.full(BYPASS_PHASES, 1.0 / BYPASS_PHASES))


@lru_cache(maxsize=64)
def _noise_matrix(grid: SignalGrid, noise_db: float) -> Array:
    """Row i (count, count): one reading of a steady attenuation of grid point i in complex Gaussian noise."""
    between = grid.low + grid.step * (np.arange(1, grid.count) - 0.5)
    beyond = np.stack([reading_beyond(grid.centres, edge, noise_db=noise_db) for edge in between], axis=1)
    return np.asarray(-np.diff(beyond, axis=1, prepend=1.0, append=0.0))


def with_bypass(pmf: Array, grid: SignalGrid, *, bypass_db: float, open_db: float) -> Array:
    """Distributions (R, count) of the attenuation with the bypass, the open path `open_db` above the one that
    `bypass_db` is given for; to the nearest grid step, so that one matrix serves a class at every gap."""
    shift = round(open_db / grid.step)
    return shifted(shifted(pmf, -shift) @ _bypass_matrix(grid, bypass_db), shift)


def receiver_noise(grid: SignalGrid, *, noise_db: float, open_db: float) -> Noise:
    """What one reading adds, likewise."""
    shift = round(open_db / grid.step)
    return Noise(
        grid=grid,
        matrix=_noise_matrix(grid, noise_db),
        shift=shift,
        beyond=partial(reading_beyond, noise_db=noise_db + shift * grid.step),
    )


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
