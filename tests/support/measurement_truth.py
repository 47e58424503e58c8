"""Bench readings of sheets whose every number is known, by routes of their own.

One sheet: a global matrix of elastic waves (`multilayer.solve_by_eigenvalues`). Two: transfer matrices of sheet, film
and sheet, the film a slit of thermo-viscous air. The beam: its kernel summed point by point (`quadrature.Beam`). The
band: a Gaussian on evenly spaced frequencies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_interp_spline
from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.plate import ElasticPlate
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import elastic_constants
from sheetmargin_service.measurement.reading import Reading, Setting
from sheetmargin_service.measurement.sample import Sample
from sheetmargin_service.principles.ultrasonic.pair import pair_at
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters

from support.multilayer import solve_by_eigenvalues
from support.quadrature import Beam

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

END_RAD = np.radians(85.0)
BAND = np.array([-1.5, -0.75, 0.0, 0.75, 1.5])
"""Frequencies of the band in its standard deviations."""
ANGLES = 28
NODES = 360
FILM_VARIATION = 0.2
"""How much the model lets a film vary within the spot, whose mean the receiver hears."""
SPOT = np.linspace(-3.9, 3.9, 40)
SPOT_SHARE = np.exp(-0.5 * SPOT**2) / np.sum(np.exp(-0.5 * SPOT**2))


@dataclass(frozen=True, kw_only=True)
class Truth:
    """A sheet as it truly is. Factors are relative to the sheet of the library."""

    sheet: Sheet
    mass: float
    stiffness: float
    loss: float
    air_median_um: float
    air_width: float

    def plate(self) -> ElasticPlate:
        (layer,) = self.sheet.layers
        assert layer.material is not None
        c11, c13, c33, c55 = (
            c.real * self.stiffness * (1.0 + 1j * c.imag / c.real * self.loss)
            for c in elastic_constants(material=layer.material, density_kg_m3=layer.density_kg_m3)
        )
        return ElasticPlate(
            thickness_m=np.array(layer.thickness_um * 1e-6 * self.mass),
            density_kg_m3=layer.density_kg_m3,
            c11_pa=np.array(c11),
            c13_pa=np.array(c13),
            c33_pa=np.array(c33),
            c55_pa=np.array(c55),
        )


@cache
def _grid() -> tuple[Array, Array]:
    x, weight = np.polynomial.legendre.leggauss(NODES)
    return 0.5 * END_RAD * (1.0 + x), 0.5 * END_RAD * weight


@cache
def _kernel(radius_m: float, frequency_hz: float, gap_mm: float, tilt_deg: float, speed: float) -> Complex:
    k = 2.0 * np.pi * frequency_hz / speed
    beam = Beam(wavenumber_per_m=k, radius_m=radius_m, gap_m=1e-3 * gap_mm, tilt_rad=np.radians(tilt_deg))
    theta, weight = _grid()
    return beam.kernel(theta, int(0.7 * k * (1e-3 * gap_mm + 2.0 * radius_m) + 64)) * weight


def _film_matrix(film_m: float, frequency_hz: float, cosine: Array, air: Air) -> Complex:
    """Transfer matrix (S, 2, 2) of a slit of air: isothermal and viscous where it is narrow (Beltman 1999)."""
    w = 2.0 * np.pi * frequency_hz
    y, x = (
        np.sqrt(1j * w * film_m**2 / (4.0 * d))
        for d in (air.thermal_diffusivity_m2_per_s, air.kinematic_viscosity_m2_per_s)
    )
    g = air.heat_capacity_ratio
    modulus = air.density_kg_m3 * air.sound_speed_m_per_s**2 / (g - (g - 1.0) * (1.0 - np.tanh(y) / y))
    along = air.density_kg_m3 / (1.0 - np.tanh(x) / x)
    kx = w / air.sound_speed_m_per_s * np.sqrt(1.0 - cosine**2)
    kz = np.sqrt(air.density_kg_m3 * (w**2 / modulus - kx**2 / along) + 0j)
    impedance = w * air.density_kg_m3 / kz * cosine / (air.density_kg_m3 * air.sound_speed_m_per_s)
    c, s = np.cos(kz * film_m), 1j * np.sin(kz * film_m)
    # Pressure and velocity (in units of the air's admittance) below, from those above.
    return np.moveaxis(np.array([[c, s * impedance], [s / impedance, c]]), -1, 0)


def _to_waves(matrix: Complex) -> tuple[Complex, Complex]:
    """Transmission and reflection of a symmetric transfer matrix between half-spaces of air."""
    a, b, c, d = (matrix[:, i, j] for i in (0, 1) for j in (0, 1))
    total = a + b + c + d
    return 2.0 / total, (a + b - c - d) / total


def _from_waves(transmission: Complex, reflection: Complex) -> Complex:
    """Wave transfer matrix (S, 2, 2): up- and downgoing wave below, from those above."""
    t, r = transmission, reflection
    return np.moveaxis(np.array([[1.0 / t, -r / t], [r / t, (t * t - r * r) / t]]), -1, 0)


def plane_waves(truth: Truth, frequency_hz: float, air: Air) -> tuple[Complex, Complex]:
    """Transmission and reflection of one sheet at the grid's angles, by splines through `ANGLES` solutions."""
    theta = END_RAD * 0.5 * (1.0 - np.cos(np.pi * (np.arange(ANGLES) + 0.5) / ANGLES))
    plate = truth.plate()
    solved = np.array(
        [solve_by_eigenvalues([plate], air=air, frequency_hz=frequency_hz, sin_theta=float(np.sin(t))) for t in theta]
    )
    at, _ = _grid()
    r, t = (make_interp_spline(theta, solved[:, i], k=5)(at) for i in (0, 1))
    return t, r


def attenuation_db(
    truth: Truth, *, parameters: UltrasonicParameters, air: Air, gap_mm: float, tilt_deg: float, films_um: Array
) -> Array:
    """Attenuation of one sheet and of two with each film, (1 + K,)."""
    theta, _ = _grid()
    cosine = np.cos(theta)
    deviation = 0.5 * parameters.bandwidth_hz / np.sqrt(2.0 * np.log(4.0)) * (parameters.drive == "gated")
    weights = np.exp(-0.5 * BAND**2)
    power = np.zeros(1 + len(films_um))
    for z, weight in zip(BAND, weights / weights.sum(), strict=True):
        frequency = parameters.frequency_hz + z * deviation
        kernel = _kernel(1e-3 * parameters.face_radius_mm, frequency, gap_mm, tilt_deg, air.sound_speed_m_per_s)
        kz = 2.0 * np.pi * frequency / air.sound_speed_m_per_s * cosine
        t, r = plane_waves(truth, frequency, air)
        thickness = float(truth.plate().thickness_m)
        amplitudes = [kernel @ (t * np.exp(1j * kz * thickness))]
        sheet = _from_waves(t, r)
        for film_um in films_um:
            film_m = 1e-6 * float(film_um)
            two = np.zeros(len(kz), dtype=complex)
            for there, share in zip(film_m * (1.0 + FILM_VARIATION * SPOT), SPOT_SHARE, strict=True):
                film = _from_waves(*_to_waves(_film_matrix(float(there), frequency, cosine, air)))
                two += share * np.exp(1j * kz * there) / (sheet @ film @ sheet)[:, 0, 0]
            amplitudes.append(kernel @ (np.exp(1j * kz * 2.0 * thickness) * two))
        power += weight * np.abs(np.array(amplitudes)) ** 2
    return np.asarray(-10.0 * np.log10(power))


def drawn_truth(sample: Sample, rng: np.random.Generator) -> tuple[Truth, Array]:
    """A sheet from what is believed of a sample, and how many standard deviations each parameter was moved, (5,)."""
    x = rng.standard_normal(5)
    mass, stiffness, loss, median, width = (
        p.nominal * float(np.exp(p.sigma * z)) for p, z in zip((*sample.solid, *sample.air), x, strict=True)
    )
    truth = Truth(
        sheet=sample.sheet,
        mass=mass / sample.solid[0].nominal,
        stiffness=stiffness,
        loss=loss / sample.solid[2].nominal,
        air_median_um=median,
        air_width=width,
    )
    return truth, x


def drawn_readings(
    truth: Truth,
    *,
    settings: Sequence[tuple[Setting, UltrasonicParameters]],
    repeats: int,
    air: Air,
    rng: np.random.Generator,
    wrong: bool = False,
) -> list[Reading]:
    """Readings of one sheet and of two, each double laid anew, with what a bench adds to them.

    For each setting and state: a model error of 1 dB, and standing waves of random phase. For each reading: 0.5 dB,
    the bypass at a random phase for each setting, and noise. With `wrong` one reading is off by 8 to 20 dB.
    """
    readings = []
    for setting, p in settings:
        _, gap, tilt = setting
        films = truth.air_median_um * np.exp(truth.air_width * rng.standard_normal(repeats))
        single, *doubles = attenuation_db(truth, parameters=p, air=air, gap_mm=gap, tilt_deg=tilt, films_um=films)
        pair = pair_at(p, air, gap_mm=(gap,), tilt_deg=(tilt,))
        open_db, bounce = float(pair.open_db[0]), float(pair.rigid_bounce[0])
        bypass = 10.0 ** (-0.05 * (p.bypass_db + open_db)) * np.exp(2j * np.pi * rng.random())
        for state, levels in (("single", [single] * repeats), ("double", doubles)):
            phases = np.exp(2j * np.pi * rng.random(2))
            common = rng.standard_normal() + float(np.sum(20.0 * np.log10(np.abs(1.0 - bounce * phases))))
            for level in levels:
                noise = 10.0 ** (-0.05 * (p.noise_db + open_db)) * rng.standard_normal(2) @ [1.0, 1j] / np.sqrt(2.0)
                heard = abs(10.0 ** (-0.05 * (level + common)) + bypass + noise)
                value = -20.0 * float(np.log10(heard)) + 0.5 * float(rng.standard_normal())
                readings.append(Reading(state=state, setting=setting, attenuation_db=value))
    if wrong:
        i = int(rng.integers(len(readings)))
        off = float(rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 20.0))
        value = readings[i].attenuation_db
        assert value is not None
        readings[i] = replace(readings[i], attenuation_db=max(value + off, 0.0))
    return readings
