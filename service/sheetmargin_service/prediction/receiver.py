"""What a receiver makes of a level: bypass at a random phase, noise, and the limits of one gain."""

from __future__ import annotations

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


def floor_matrix(grid: SignalGrid, *, bypass_db: float, noise_db: float) -> Array:
    """What a true attenuation is read as: row i of (count, count) is the distribution of the reading at grid point i.

    The bypass adds with a phase that is uniform (it turns with temperature and sheet position); the noise, complex
    Gaussian, adds its power and an in-phase part by Gauss-Hermite quadrature.
    """
    signal = 10.0 ** (-0.05 * grid.centres)
    bypass, noise = 10.0 ** (-0.05 * bypass_db), 10.0 ** (-0.05 * noise_db)
    phases = phase_nodes(BYPASS_PHASES)
    amplitude = np.abs(signal[:, None] + bypass * np.exp(1j * phases))
    z, weight = gauss_hermite(NOISE_NODES)
    in_phase = amplitude[..., None] + noise * np.sqrt(0.5) * z
    power = in_phase**2 + 0.5 * noise**2
    reading = -10.0 * np.log10(power).reshape(grid.count, -1)
    weights = np.tile(weight / BYPASS_PHASES, BYPASS_PHASES)
    return grid.bin_nodes(reading, weights)
