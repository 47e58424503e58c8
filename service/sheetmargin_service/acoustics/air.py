"""Humid air: sound speed, density, transport properties, absorption, and what a plane wave meets in it.

References
----------
[1] Cramer, "The variation of the specific heat ratio and the speed of sound in air", JASA 93, 2510 (1993).
[2] Picard, Davis, Glaser and Fujii, "Revised formula for the density of moist air (CIPM-2007)", Metrologia 45,
    149 (2008).
[3] U.S. Standard Atmosphere 1976, equations 51 (viscosity) and 53 (thermal conductivity), dry air.
[4] ISO 9613-1:1993, absorption of sound by the atmosphere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real

ZERO_CELSIUS_K = 273.15
COLDEST_C = -100.0
"""Where a dew point is looked for no further down."""
TEMPERATURE_LIMITS_C = (-40.0, 120.0)
"""Temperatures that `humid_air` knows."""
# Mole fraction of carbon dioxide: the reference value of [1] and [2]; 100 ppm more changes the speed by 0.01 m/s.
CARBON_DIOXIDE = 4.0e-4

# Least cosine of the angle of incidence.
_GRAZING = 1e-6

# [1] table III, for 0 to 30 degrees Celsius, 75 to 102 kPa, up to 6 % water by mole.
_SPEED = (
    (331.5024, 0.603055, -0.000528),
    (51.471935, 0.1495874, -0.000782),
    (-1.82e-7, 3.73e-8, -2.93e-10),
    (-85.20931, -0.228525, 5.91e-5),
    (-2.835149, -2.15e-13, 29.179762, 0.000486),
)
_HEAT_CAPACITY_RATIO = (
    (1.400822, -1.75e-5, -1.73e-7),
    (-0.0873629, -0.0001665, -3.26e-6),
    (2.047e-8, -1.26e-10, 5.939e-14),
    (-0.1199717, -0.0008693, 1.979e-6),
    (-0.01104, -3.478e-16, 0.0450616, 1.82e-6),
)

# [2] appendix A.1.
_GAS_CONSTANT = 8.314472
_MOLAR_MASS_DRY = (28.96546 + 12.011 * (CARBON_DIOXIDE - 4.0e-4)) * 1e-3
_MOLAR_MASS_WATER = 18.01528e-3


@dataclass(frozen=True, kw_only=True)
class Air:
    """One state of humid air. Build it with `humid_air`."""

    temperature_c: float
    relative_humidity_pct: float
    pressure_kpa: float
    sound_speed_m_per_s: float
    density_kg_m3: float
    heat_capacity_ratio: float
    kinematic_viscosity_m2_per_s: float
    thermal_diffusivity_m2_per_s: float

    @property
    def pressure_pa(self) -> float:
        return 1000.0 * self.pressure_kpa

    @property
    def impedance_pa_s_per_m(self) -> float:
        """Characteristic impedance rho c."""
        return self.density_kg_m3 * self.sound_speed_m_per_s

    @property
    def bulk_modulus_pa(self) -> float:
        """Adiabatic bulk modulus rho c^2; within 0.1 % of heat capacity ratio times pressure to 50 degrees."""
        return self.density_kg_m3 * self.sound_speed_m_per_s**2


def humid_air(
    *, temperature_c: float = 20.0, relative_humidity_pct: float = 50.0, pressure_kpa: float = 101.325
) -> Air:
    """Air at rest, from -40 to 120 degrees Celsius, 0 to 100 % relative humidity, 50 to 110 kPa.

    Speed and heat capacity ratio by [1], density by [2], both used beyond the 0 to 30 degrees and 15 to 27 degrees they
    were made for. Against CoolProp's humid air (80 and 101 kPa, any humidity) the speed is within 0.05 % from -40 to 40
    degrees, the density within 0.02 %; at 60 degrees and saturation 0.35 % and 0.05 %. Viscosity and conductivity are
    those of dry air [3]: at 20 degrees within 0.6 and 0.2 %, at 40 degrees and saturation 3 and 1.1 %, at 60 degrees
    and saturation 10.5 and 4.3 %. Up to 120 degrees this holds of air that is dry: with the water of a saturated room
    of 35 degrees the speed is within 0.4 %, the density within 0.1 %; the more steam, the less.

    Above the boiling point air holds no more than steam alone: the state has at most that humidity.

    Raises
    ------
    ValueError: a quantity out of range.
    """
    _check_range("temperature_c", temperature_c, *TEMPERATURE_LIMITS_C)
    _check_range("relative_humidity_pct", relative_humidity_pct, 0.0, 100.0)
    _check_range("pressure_kpa", pressure_kpa, 50.0, 110.0)
    kelvin = temperature_c + ZERO_CELSIUS_K
    pressure = 1000.0 * pressure_kpa
    # [2] A1.2: enhancement factor. [1] uses an earlier fit of the saturation pressure, 0.1 % apart.
    saturation = (1.00062 + 3.14e-8 * pressure + 5.6e-7 * temperature_c**2) * saturation_pressure_pa(temperature_c)
    relative_humidity_pct = min(relative_humidity_pct, 100.0 * pressure / saturation)
    water = relative_humidity_pct / 100.0 * saturation / pressure
    molar_mass = _MOLAR_MASS_DRY * (1.0 - water * (1.0 - _MOLAR_MASS_WATER / _MOLAR_MASS_DRY))
    density = pressure * molar_mass / (_compressibility(temperature_c, pressure, water) * _GAS_CONSTANT * kelvin)
    ratio = _cramer(_HEAT_CAPACITY_RATIO, temperature_c, pressure, water)
    heat_capacity = ratio / (ratio - 1.0) * _GAS_CONSTANT / molar_mass
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    conductivity = 2.64638e-3 * kelvin**1.5 / (kelvin + 245.4 * 10.0 ** (-12.0 / kelvin))
    return Air(
        temperature_c=temperature_c,
        relative_humidity_pct=relative_humidity_pct,
        pressure_kpa=pressure_kpa,
        sound_speed_m_per_s=_cramer(_SPEED, temperature_c, pressure, water),
        density_kg_m3=density,
        heat_capacity_ratio=ratio,
        kinematic_viscosity_m2_per_s=viscosity / density,
        thermal_diffusivity_m2_per_s=conductivity / (density * heat_capacity),
    )


def saturation_pressure_pa(temperature_c: float) -> float:
    """Pressure of water vapour over water, [2] A1.1: within 0.1 % of CoolProp's water from 0 to 120 degrees."""
    return float(np.exp(_log_saturation_pa(np.asarray(temperature_c))))


def _log_saturation_pa(temperature_c: NDArray[np.float64]) -> NDArray[np.float64]:
    kelvin = temperature_c + ZERO_CELSIUS_K
    return 1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin


def dew_point_c(*, temperature_c: float, relative_humidity_pct: float) -> float:
    """Temperature at which the water in air begins to condense, over water also below 0; -inf for dry air."""
    # The logarithm of the pressure is so nearly straight that places 0.1 degrees apart tell it within 1e-5 degrees.
    dew_c = np.linspace(COLDEST_C, temperature_c, 2001)
    pressures = _log_saturation_pa(dew_c)
    vapour = pressures[-1] + np.log(max(0.01 * relative_humidity_pct, 1e-300))
    return -np.inf if vapour <= pressures[0] else float(np.interp(vapour, pressures, dew_c))


def absorption_db_per_m(*, frequency_hz: Real, air: Air) -> NDArray[np.float64]:
    """Pure-tone absorption, ISO 9613-1 equations 3 to 5 and B.2; same shape as `frequency_hz`.

    The standard states its formulas for 4e-4 to 10 Hz/Pa: to 1 MHz at sea level.
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    kelvin = air.temperature_c + ZERO_CELSIUS_K
    pressure = air.pressure_kpa / 101.325
    relative = kelvin / 293.15
    water_pct = air.relative_humidity_pct * 10.0 ** (4.6151 - 6.8346 * (273.16 / kelvin) ** 1.261) / pressure
    oxygen_hz = pressure * (24.0 + 4.04e4 * water_pct * (0.02 + water_pct) / (0.391 + water_pct))
    nitrogen_hz = (
        pressure * relative**-0.5 * (9.0 + 280.0 * water_pct * np.exp(-4.170 * (relative ** (-1.0 / 3.0) - 1.0)))
    )
    classical = 1.84e-11 / pressure * relative**0.5
    oxygen = 0.01275 * np.exp(-2239.1 / kelvin) / (oxygen_hz + frequency**2 / oxygen_hz)
    nitrogen = 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen_hz + frequency**2 / nitrogen_hz)
    return np.asarray(8.686 * frequency**2 * (classical + relative**-2.5 * (oxygen + nitrogen)))


def cosine(sin_theta: Complex) -> ComplexArray | NDArray[np.float64]:
    """cos(theta) of a plane wave that leaves a surface, by its sine; shape of `sin_theta`.

    Beyond grazing (a real sine above 1) the wave is evanescent and dies away from the surface; under the time factor
    e^(+i w t) that is cos(theta) = -i sqrt(sin^2 - 1). A complex angle whose real part is below 90 degrees has a cosine
    with a real part above 0, which is the principal root, analytic.
    """
    square = 1.0 - np.square(np.asarray(sin_theta))
    if np.iscomplexobj(square):
        return np.asarray(np.sqrt(square))
    return np.asarray(np.sqrt(square) if np.all(square >= 0.0) else np.conj(np.sqrt(square + 0j)))


def surface_admittance(*, air: Air, sin_theta: Complex) -> NDArray[np.float64] | ComplexArray:
    """Normal velocity over pressure, cos(theta)/(rho c), of a plane wave leaving a surface; shape of `sin_theta`.

    Grazing itself, where sheets reflect all and a pair of them has no field between, is kept a millionth of a radian
    away.
    """
    out = cosine(sin_theta)
    return np.asarray(np.where(np.abs(out) < _GRAZING, _GRAZING, out) / air.impedance_pa_s_per_m)


def _cramer(table: tuple[tuple[float, ...], ...], celsius: float, pressure: float, water: float) -> float:
    """[1] equation 15."""
    constant, by_water, by_pressure, by_carbon = (a + b * celsius + c * celsius**2 for a, b, c in table[:4])
    water_2, pressure_2, carbon_2, mixed = table[4]
    return (
        constant
        + by_water * water
        + by_pressure * pressure
        + by_carbon * CARBON_DIOXIDE
        + water_2 * water**2
        + pressure_2 * pressure**2
        + carbon_2 * CARBON_DIOXIDE**2
        + mixed * water * pressure * CARBON_DIOXIDE
    )


def _compressibility(celsius: float, pressure: float, water: float) -> float:
    """[2] equation A1.4."""
    kelvin = celsius + ZERO_CELSIUS_K
    virial = (
        1.58123e-6
        - 2.9331e-8 * celsius
        + 1.1043e-10 * celsius**2
        + (5.707e-6 - 2.051e-8 * celsius) * water
        + (1.9898e-4 - 2.376e-6 * celsius) * water**2
    )
    return 1.0 - pressure / kelvin * virial + (pressure / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * water**2)


def _check_range(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ValueError(f"{name} is {value}; it must lie between {low} and {high}")
