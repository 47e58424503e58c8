"""Humid air against standards and other libraries."""

from importlib import import_module
from types import ModuleType

import numpy as np
import pytest
from sheetmargin_service.acoustics.air import absorption_db_per_m, dew_point_c, humid_air, saturation_pressure_pa

# ISO 9613-1:1993 table 1, in dB/km at one standard atmosphere, three significant figures, at the exact mid-band
# frequencies 1000 x 10^(k/10) Hz; read in two public transcriptions of the table.
ISO_9613_1 = [
    # temperature, humidity, k, dB/km
    (-20, 10, -13, 5.89e-1),
    (-20, 100, -9, 3.44e-1),
    (-20, 50, 0, 9.14),
    (-20, 70, 9, 2.78e1),
    (-10, 10, 0, 4.65),
    (-10, 70, 9, 8.62e1),
    (0, 15, 0, 1.83e1),
    (0, 100, 0, 3.37),
    (0, 10, 9, 2.64e1),
    (10, 10, 6, 5.73e1),
    (10, 100, 6, 2.35e1),
    (15, 70, 6, 2.64e1),
    (20, 50, -10, 2.94e-1),
    (20, 10, 0, 1.41e1),
    (20, 70, 0, 4.98),
    (20, 100, 6, 1.94e1),
    (20, 15, 8, 1.75e2),
    (30, 50, 0, 7.03),
    (30, 10, 6, 9.60e1),
    (40, 70, 0, 8.66),
    (50, 10, 9, 1.55e2),
    (50, 70, 9, 8.03e1),
]


@pytest.fixture(scope="module")
def pyfar() -> ModuleType:
    """Loading takes seconds, which collecting need not wait for."""
    return import_module("pyfar")


@pytest.fixture(scope="module")
def coolprop() -> ModuleType:
    """Likewise."""
    return import_module("CoolProp.CoolProp")


@pytest.mark.parametrize(("temperature_c", "relative_humidity_pct", "band", "db_per_km"), ISO_9613_1)
def test_absorption_is_that_of_the_standards_table(
    temperature_c: float, relative_humidity_pct: float, band: int, db_per_km: float
) -> None:
    air = humid_air(temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct)
    computed = 1000.0 * absorption_db_per_m(frequency_hz=1000.0 * 10.0 ** (band / 10.0), air=air)
    # Half a unit in the third figure.
    assert computed == pytest.approx(db_per_km, rel=0.006)


@pytest.mark.parametrize("temperature_c", [-10.0, 5.0, 20.0, 35.0])
@pytest.mark.parametrize("relative_humidity_pct", [10.0, 50.0, 90.0])
def test_absorption_agrees_with_a_second_implementation_to_500_khz(
    pyfar: ModuleType, temperature_c: float, relative_humidity_pct: float
) -> None:
    frequency = np.array([1e3, 1e4, 4e4, 1e5, 2e5, 3e5, 5e5])
    other, _, _ = pyfar.constants.air_attenuation(
        temperature_c, frequency, relative_humidity_pct / 100.0, atmospheric_pressure=101325.0
    )
    air = humid_air(temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct)
    np.testing.assert_allclose(absorption_db_per_m(frequency_hz=frequency, air=air), other.ravel(), rtol=2e-5)


def test_absorption_at_ultrasound() -> None:
    # Computed twice by independent implementations of ISO 9613-1 at 20 degrees, 50 %, 101.325 kPa.
    frequency = 1e3 * np.array([40.0, 100.0, 200.0, 300.0, 400.0, 500.0])
    expected = [1.3182, 3.2804, 8.2282, 16.2508, 27.4497, 41.8389]
    np.testing.assert_allclose(absorption_db_per_m(frequency_hz=frequency, air=humid_air()), expected, atol=1e-4)


def test_speed_is_cramers(pyfar: ModuleType) -> None:
    # Another implementation of Cramer, JASA 93, 2510 (1993), which uses an earlier fit of the saturation pressure.
    for temperature_c in (0.0, 10.0, 20.0, 30.0):
        for relative_humidity_pct in (0.0, 50.0, 100.0):
            for pressure_kpa in (80.0, 101.325):
                other = pyfar.constants.speed_of_sound_cramer(
                    temperature_c, relative_humidity_pct / 100.0, co2_ppm=400.0, atmospheric_pressure=1e3 * pressure_kpa
                )
                air = humid_air(
                    temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct, pressure_kpa=pressure_kpa
                )
                assert air.sound_speed_m_per_s == pytest.approx(float(other), rel=1e-5)


def test_room_air() -> None:
    air = humid_air()
    # CIPM-2007 and Cramer at 20 degrees, 50 %, 101.325 kPa by other implementations; 30 ppm of CO2 are 0.003 m/s.
    assert air.density_kg_m3 == pytest.approx(1.1993, abs=5e-5)
    assert air.sound_speed_m_per_s == pytest.approx(343.984, abs=0.005)


@pytest.mark.parametrize(
    ("temperature_c", "speed", "density", "viscosity", "diffusivity"),
    # Largest relative deviations over humidity, as stated in the function's notes.
    [
        (-40.0, 5e-4, 2e-4, 0.004, 0.010),
        (-20.0, 4e-4, 2e-4, 0.004, 0.007),
        (0.0, 4e-4, 2e-4, 0.004, 0.005),
        (20.0, 2e-4, 2e-4, 0.006, 0.002),
        (40.0, 4e-4, 2e-4, 0.030, 0.012),
        (60.0, 3.5e-3, 5e-4, 0.106, 0.043),
        (90.0, 1.5e-3, 4e-4, 0.027, 0.018),
        (120.0, 4e-3, 1e-3, 0.029, 0.021),
    ],
)
def test_properties_are_those_of_a_reference_library(
    coolprop: ModuleType, temperature_c: float, speed: float, density: float, viscosity: float, diffusivity: float
) -> None:
    # CoolProp's humid air, after Herrmann, Kretzschmar and Gatley (ASHRAE RP-1485, 2009), an independent equation of
    # state. It has no sound speed; that of the mixture as an ideal gas is sqrt(cp/cv p/rho).
    humidities = (0.0, 25.0, 50.0, 75.0, 100.0)
    if temperature_c > 60.0:  # of heated air: that of a hall, up to 35 degrees and saturated
        humidities = (0.0, 100.0 * saturation_pressure_pa(35.0) / saturation_pressure_pa(temperature_c))
    for relative_humidity_pct in humidities:
        for pressure_kpa in (80.0, 101.325):
            state = ("T", temperature_c + 273.15, "P", 1e3 * pressure_kpa, "R", relative_humidity_pct / 100.0)
            volume, heat = coolprop.HAPropsSI("Vha", *state), coolprop.HAPropsSI("cp_ha", *state)
            ratio = heat / coolprop.HAPropsSI("cv_ha", *state)
            air = humid_air(
                temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct, pressure_kpa=pressure_kpa
            )
            assert air.sound_speed_m_per_s == pytest.approx(np.sqrt(ratio * 1e3 * pressure_kpa * volume), rel=speed)
            assert air.density_kg_m3 == pytest.approx(1.0 / volume, rel=density)
            assert air.heat_capacity_ratio == pytest.approx(ratio, rel=6e-3 if temperature_c >= 60.0 else 1e-3)
            assert air.kinematic_viscosity_m2_per_s == pytest.approx(
                coolprop.HAPropsSI("mu", *state) * volume, rel=viscosity
            )
            conductivity = coolprop.HAPropsSI("K", *state)
            assert air.thermal_diffusivity_m2_per_s == pytest.approx(conductivity * volume / heat, rel=diffusivity)


def test_water_of_saturated_air(coolprop: ModuleType) -> None:
    # CoolProp's water (IAPWS-95) from 0 to 120 degrees, over water.
    for temperature_c in (0.02, 20.0, 60.0, 100.0, 120.0):
        expected = coolprop.PropsSI("P", "T", temperature_c + 273.15, "Q", 0, "Water")
        assert saturation_pressure_pa(temperature_c) == pytest.approx(expected, rel=1e-3)
    for temperature_c, relative_humidity_pct in ((5.0, 75.0), (20.0, 50.0), (35.0, 70.0), (60.0, 10.0)):
        humid = ("T", temperature_c + 273.15, "P", 101325.0, "R", relative_humidity_pct / 100.0)
        dew = dew_point_c(temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct)
        assert dew == pytest.approx(coolprop.HAPropsSI("D", *humid) - 273.15, abs=0.05)
