"""A measured series fitted: sound through a porous membrane in air, square on, round its thickness resonance.

Data: T. E. Gómez Álvarez-Arenas, distributed with the program to his paper in Ultrasonics 50(2), 104-109, doi
10.1016/j.ultras.2009.09.009 (public repository usbiomat/ultrasonic-thickness-resonance, data.dat and the notebook
beside it): level through the membrane over the open path from 0.92 to 2.3 MHz by a pair of air-coupled transducers. By
micrometer the membrane is 140 um thick, by size and weight its density is 340 kg/m3.

The fit is told nothing of the weight: its own belief is a mass within a factor of two.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.plate import ElasticPlate, plate_response
from sheetmargin_service.measurement.posterior import Peak, find_peak

Array = NDArray[np.float64]

# kHz and dB, as they were measured; every fifth point, and all of those round the peak.
MEASURED = np.array(
    [
        (1000, -40.1), (1050, -39.6), (1100, -38.2), (1150, -36.3), (1200, -33.4), (1250, -29.4), (1280, -25.7),
        (1290, -24.1), (1300, -22.4), (1310, -20.5), (1320, -19.0), (1330, -18.7), (1340, -19.6), (1350, -21.4),
        (1360, -23.2), (1370, -24.9), (1380, -26.5), (1400, -28.9), (1450, -33.1), (1500, -36.0), (1550, -37.9),
        (1600, -39.5), (1650, -40.7), (1700, -41.8), (1750, -42.5), (1800, -43.0), (1850, -43.6), (1900, -43.5),
        (1950, -43.8), (2000, -44.0),
    ]
)  # fmt: skip
THICKNESS_M = 140e-6
WEIGHED_GSM = 1e3 * THICKNESS_M * 340.0
READING_DB = 0.3
# Before the readings: mass within a factor of two, resonance within 30 %, loss within a factor of four (about 95 %).
BELIEVED = {"mass_gsm": (70.0, np.log(2.0) / 2.0), "resonance_hz": (1.4e6, 0.15), "loss": (0.03, np.log(4.0) / 2.0)}


def level_db(x: Array) -> Array:
    """Level through a plate at the measured frequencies; `x` (3,) counts standard deviations from what is believed."""
    mass, resonance, loss = (nominal * np.exp(s * z) for (nominal, s), z in zip(BELIEVED.values(), x, strict=True))
    density = 1e-3 * mass / THICKNESS_M
    modulus = density * (2.0 * THICKNESS_M * resonance) ** 2 * (1.0 + 1j * loss)
    plate = ElasticPlate(
        thickness_m=np.array(THICKNESS_M),
        density_kg_m3=density,
        c11_pa=np.array(modulus),
        c13_pa=np.array(0.2 * modulus),
        c33_pa=np.array(modulus),
        c55_pa=np.array(0.4 * modulus),
    )
    response = plate_response(plate=plate, air=humid_air(), frequency_hz=1e3 * MEASURED[:, :1], sin_theta=np.zeros(1))
    return np.asarray(20.0 * np.log10(np.abs(np.asarray(response.transmission)[:, 0])))


@pytest.fixture(scope="module")
def peak() -> Peak:
    def misfit(x: Array) -> Array:
        return (MEASURED[:, 1] - level_db(x)) / READING_DB

    def slope(x: Array) -> Array:
        step = 1e-4
        return np.stack([(misfit(x + step * e) - misfit(x - step * e)) / (2.0 * step) for e in np.eye(3)], axis=1)

    return find_peak(misfit=misfit, slope=slope, start=np.zeros(3))


def test_the_series_is_explained(peak: Peak) -> None:
    off = READING_DB * peak.misfit
    assert np.sqrt(np.mean(off**2)) < 0.25
    # Towards the lower end the series scatters by some tenths.
    assert np.all(np.abs(off[1:]) < 0.3)


def test_the_fitted_mass_is_the_weighed_one(peak: Peak) -> None:
    nominal, sigma = BELIEVED["mass_gsm"]
    mass = nominal * np.exp(sigma * peak.at[0])
    assert mass == pytest.approx(WEIGHED_GSM, rel=0.05)
