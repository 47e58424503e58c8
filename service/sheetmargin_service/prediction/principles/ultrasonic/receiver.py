"""What a receiver makes of a level: bypass at a random phase, noise, and the limits of one gain."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid, gauss_hermite, phase_nodes

Array = NDArray[np.float64]
BYPASS_PHASES = 6
NOISE_NODES = 3


def add_powers_db(attenuation_db: Array, *floors_db: Array | float) -> Array:
    """Attenuation of a signal plus incoherent floors, all as attenuations; shapes broadcast."""
    power = 10.0 ** (-0.1 * attenuation_db)
    for floor in floors_db:
        power = power + 10.0 ** (-0.1 * np.asarray(floor))
    return np.asarray(-10.0 * np.log10(power))


@lru_cache(maxsize=64)
def _reading_matrix(grid: SignalGrid, bypass_db: float, noise_db: float) -> Array:
    """What a true attenuation is read as: row i of (count, count) is the distribution of the reading at grid point i.

    The bypass adds with a phase that is uniform (it turns with temperature and sheet position); the noise, complex
    Gaussian, adds its power and an in-phase part by Gauss-Hermite quadrature.
    """
    signal = 10.0 ** (-0.05 * grid.centres)
    bypass, noise = 10.0 ** (-0.05 * bypass_db), 10.0 ** (-0.05 * noise_db)
    amplitude = np.abs(signal[:, None] + bypass * np.exp(1j * phase_nodes(BYPASS_PHASES)))
    z, weight = gauss_hermite(NOISE_NODES)
    power = (amplitude[..., None] + noise * np.sqrt(0.5) * z) ** 2 + 0.5 * noise**2
    reading = -10.0 * np.log10(power).reshape(grid.count, -1)
    return grid.bin_nodes(reading, np.tile(weight / BYPASS_PHASES, BYPASS_PHASES))


def read(pmf: Array, grid: SignalGrid, *, bypass_db: float, noise_db: float, open_db: float) -> Array:
    """Distributions (R, count) of the reading from those of the true attenuation, the open path `open_db` above the
    one that the floors are given for; to the nearest grid step, so that one matrix serves a class at every gap."""
    shift = round(open_db / grid.step)
    moved = _shifted(pmf, -shift) @ _reading_matrix(grid, bypass_db, noise_db)
    return _shifted(moved, shift)


def _shifted(pmf: Array, bins: int) -> Array:
    """Probabilities moved up by `bins`; what leaves the grid stays in its end bin."""
    if bins == 0:
        return pmf
    count = pmf.shape[1]
    result = np.zeros_like(pmf)
    if bins > 0:
        result[:, bins:] = pmf[:, : count - bins]
        result[:, -1] += pmf[:, count - bins :].sum(axis=1)
    else:
        result[:, :bins] = pmf[:, -bins:]
        result[:, 0] += pmf[:, :-bins].sum(axis=1)
    return result
