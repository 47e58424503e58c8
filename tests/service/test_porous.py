"""Permeable sheets: conservation and trends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.fluid import fluid_response
from sheetmargin_service.acoustics.plate import ElasticPlate, isotropic_plate
from sheetmargin_service.acoustics.porous import (
    PorousSheet,
    flow_resistance_pa_s_per_m,
    pore_fluid,
    pore_radius_m,
    porous_response,
)
from sheetmargin_service.acoustics.trapped_air import (
    double_transmission,
    even_film,
    film_layer,
)
from support.sheets import elastic_plates, frequencies_hz, sines

AIR = humid_air()
TISSUE = isotropic_plate(
    thickness_m=1e-4, density_kg_m3=200.0, youngs_modulus_pa=2e7, poisson_ratio=0.2, loss_factor=0.2
)


@given(
    frame=elastic_plates(),
    permeance=st.floats(-3.0, 5.0).map(lambda exponent: 10.0**exponent),
    porosity=st.floats(0.05, 0.95),
    tortuosity=st.floats(1.0, 5.0),
    frequency=frequencies_hz,
    sine=sines,
)
@settings(max_examples=300, deadline=None)
def test_a_permeable_sheet_makes_no_energy(
    frame: ElasticPlate, permeance: float, porosity: float, tortuosity: float, frequency: float, sine: float
) -> None:
    sheet = PorousSheet(frame=frame, permeance_um_per_pa_s=permeance, porosity=porosity, tortuosity=tortuosity)
    response = porous_response(sheet=sheet, air=AIR, frequency_hz=frequency, sin_theta=sine)
    assert abs(response.reflection + response.transmission) <= 1.0 + 1e-9
    assert abs(response.reflection - response.transmission) <= 1.0 + 1e-9


def test_more_permeance_lets_more_through_once_pores_outdo_the_frame() -> None:
    permeance = np.array([10.0, 100.0, 1000.0, 1e4])
    sheet = PorousSheet(frame=TISSUE, permeance_um_per_pa_s=permeance, porosity=0.7, tortuosity=1.5)
    one = porous_response(sheet=sheet, air=AIR, frequency_hz=200e3, sin_theta=0.0)
    assert np.all(np.diff(np.abs(one.transmission)) > 0.0)
    radius = pore_radius_m(sheet=sheet, air=AIR)
    np.testing.assert_allclose(radius**2 / permeance, radius[0] ** 2 / permeance[0], rtol=1e-12)
    assert flow_resistance_pa_s_per_m(permeance_um_per_pa_s=5.0) == pytest.approx(2e5)


def test_a_permeable_double_differs_little_from_a_single() -> None:
    # An open sheet hides the air between: the second costs less than the first pair of a tight one would.
    film = fluid_response(
        layer=film_layer(air=AIR, thickness_m=5e-5, frequency_hz=200e3), air=AIR, frequency_hz=200e3, sin_theta=0.0
    )
    steps = []
    for permeance in (1e4, 1e-2):
        sheet = PorousSheet(frame=TISSUE, permeance_um_per_pa_s=permeance, porosity=0.7, tortuosity=1.5)
        one = porous_response(sheet=sheet, air=AIR, frequency_hz=200e3, sin_theta=0.0)
        two = double_transmission(first=one, second=one, film=even_film(film))
        steps.append(20.0 * np.log10(np.abs(one.transmission) / np.abs(two)))
    assert 0.0 < steps[0] < 6.0
    assert steps[1] > 3.0 * steps[0]


def test_pores_dissipate() -> None:
    sheet = PorousSheet(frame=TISSUE, permeance_um_per_pa_s=500.0, porosity=0.7, tortuosity=1.5)
    fluid = pore_fluid(sheet=sheet, air=AIR, frequency_hz=np.array([60e3, 200e3, 500e3]))
    # Friction: the density has a negative imaginary part under e^(+i w t); heat: the modulus a positive one.
    assert np.all(np.imag(fluid.density_kg_m3) < 0.0)
    assert np.all(np.imag(fluid.bulk_modulus_pa) > 0.0)
    # Never lighter than the tortuous air, never softer than isothermal, never stiffer than adiabatic.
    assert np.all(np.real(fluid.density_kg_m3) > 1.5 / 0.7 * AIR.density_kg_m3)
    assert np.all(np.real(fluid.bulk_modulus_pa) * 0.7 > 0.99 * AIR.pressure_pa)
    assert np.all(np.real(fluid.bulk_modulus_pa) * 0.7 < AIR.bulk_modulus_pa)


def test_fields_broadcast() -> None:
    sheet = PorousSheet(
        frame=TISSUE,
        permeance_um_per_pa_s=np.array([10.0, 100.0, 1000.0])[:, None, None],
        porosity=0.7,
        tortuosity=1.5,
    )
    response = porous_response(
        sheet=sheet, air=AIR, frequency_hz=np.array([100e3, 200e3])[:, None], sin_theta=np.linspace(0.0, 0.9, 7)
    )
    assert response.transmission.shape == response.reflection.shape == (3, 2, 7)
