"""Humid air and the admittance of a plane wave in it."""

import numpy as np
import pytest
from sheetmargin_service.acoustics.air import (
    TEMPERATURE_LIMITS_C,
    absorption_db_per_m,
    dew_point_c,
    humid_air,
    saturation_pressure_pa,
    surface_admittance,
)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("temperature_c", -41.0),
        ("temperature_c", 120.5),
        ("relative_humidity_pct", -1.0),
        ("relative_humidity_pct", 101.0),
        ("pressure_kpa", 0.0),
        ("pressure_kpa", 200.0),
        ("temperature_c", float("nan")),
    ],
)
def test_a_state_out_of_range_is_refused_by_name(name: str, value: float) -> None:
    with pytest.raises(ValueError, match=f"{name} is {value}"):
        humid_air(**{name: value})


@pytest.mark.parametrize("temperature_c", TEMPERATURE_LIMITS_C)
@pytest.mark.parametrize("relative_humidity_pct", [0.0, 100.0])
@pytest.mark.parametrize("pressure_kpa", [50.0, 110.0])
def test_every_corner_of_what_is_accepted_is_air(temperature_c, relative_humidity_pct, pressure_kpa) -> None:
    air = humid_air(temperature_c=temperature_c, relative_humidity_pct=relative_humidity_pct, pressure_kpa=pressure_kpa)
    assert 300.0 < air.sound_speed_m_per_s < 500.0
    assert 1.2 < air.heat_capacity_ratio < 1.41
    assert 0.0 < float(absorption_db_per_m(frequency_hz=5e5, air=air)) < 1000.0
    # The water in it is no more than all of it.
    assert air.relative_humidity_pct / 100.0 * saturation_pressure_pa(temperature_c) <= air.pressure_pa


def test_dew_point_is_where_the_same_water_saturates_the_air() -> None:
    for temperature_c in (-20.0, 5.0, 35.0, 110.0):
        for humidity in (3.0, 40.0, 100.0):
            dew = dew_point_c(temperature_c=temperature_c, relative_humidity_pct=humidity)
            vapour = 0.01 * humidity * saturation_pressure_pa(temperature_c)
            assert saturation_pressure_pa(dew) == pytest.approx(vapour, rel=1e-5)
    assert dew_point_c(temperature_c=20.0, relative_humidity_pct=0.0) == -np.inf


def test_properties_follow_from_one_another() -> None:
    air = humid_air(temperature_c=30.0, relative_humidity_pct=20.0, pressure_kpa=95.0)
    assert air.pressure_pa == 95_000.0
    assert air.impedance_pa_s_per_m == air.density_kg_m3 * air.sound_speed_m_per_s
    # Real air is within 0.1 % of an ideal gas, rho c^2 = g p.
    assert air.bulk_modulus_pa == pytest.approx(air.heat_capacity_ratio * air.pressure_pa, rel=1e-3)


def test_warm_and_moist_air_is_faster_and_lighter() -> None:
    dry, moist = humid_air(relative_humidity_pct=0.0), humid_air(relative_humidity_pct=100.0)
    assert moist.sound_speed_m_per_s > dry.sound_speed_m_per_s
    assert moist.density_kg_m3 < dry.density_kg_m3
    # 0.6 m/s per degree.
    warm = humid_air(temperature_c=21.0).sound_speed_m_per_s - humid_air().sound_speed_m_per_s
    assert warm == pytest.approx(0.6, abs=0.05)


def test_absorption_keeps_the_shape_of_the_frequencies() -> None:
    air = humid_air()
    assert absorption_db_per_m(frequency_hz=2e5, air=air).shape == ()
    assert absorption_db_per_m(frequency_hz=np.full((2, 3), 2e5), air=air).shape == (2, 3)


def test_admittance_is_real_below_grazing_and_decays_beyond() -> None:
    air = humid_air()
    below = surface_admittance(air=air, sin_theta=np.array([0.0, 0.6]))
    assert below.dtype == np.float64
    np.testing.assert_allclose(below * air.impedance_pa_s_per_m, [1.0, 0.8], rtol=1e-14)
    # kz = k cos(theta): e^(-i kz z) dies away for a negative imaginary part.
    beyond = surface_admittance(air=air, sin_theta=np.array([0.6, 1.25])) * air.impedance_pa_s_per_m
    np.testing.assert_allclose(beyond, [0.8, -0.75j], rtol=1e-14)


def test_grazing_is_kept_away_from_zero() -> None:
    assert surface_admittance(air=humid_air(), sin_theta=1.0) > 0.0
