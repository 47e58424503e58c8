"""Layered sheets: conservation, reciprocity, stability, agreement with the closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.fluid import FluidLayer, air_layer, fluid_response
from sheetmargin_service.acoustics.layered import Stack, join, stack_response
from sheetmargin_service.acoustics.plate import ElasticPlate, isotropic_plate, plate_response
from sheetmargin_service.acoustics.trapped_air import (
    double_response,
    even_film,
    film_layer,
)
from support.sheets import elastic_plates, frequencies_hz, sines

AIR = humid_air()
SINES = np.linspace(0.0, 0.98, 50)

PAPER = ElasticPlate(
    thickness_m=1e-4,
    density_kg_m3=780.0,
    c11_pa=4.5e9 * (1.0 + 0.1j),
    c13_pa=2e7 * (1.0 + 0.1j),
    c33_pa=45e6 * (1.0 + 0.1j),
    c55_pa=90e6 * (1.0 + 0.1j),
)
PVC = isotropic_plate(
    thickness_m=1e-3, density_kg_m3=1380.0, youngs_modulus_pa=3.3e9, poisson_ratio=0.38, loss_factor=0.03
)
ALUMINIUM = isotropic_plate(
    thickness_m=1e-3, density_kg_m3=2700.0, youngs_modulus_pa=70e9, poisson_ratio=0.34, loss_factor=0.002
)


def stacks(*, lossless: bool) -> st.SearchStrategy[Stack]:
    gap = st.floats(-6.0, -2.5).map(lambda exponent: air_layer(air=AIR, thickness_m=10.0**exponent))
    layer = st.one_of(elastic_plates(lossless=lossless), elastic_plates(lossless=lossless), gap)
    return st.lists(layer, min_size=1, max_size=6).map(lambda layers: Stack(layers=tuple(layers)))


@given(stack=stacks(lossless=True), frequency=frequencies_hz, sine=sines)
@settings(max_examples=250, deadline=None)
def test_lossless_stacks_keep_energy(stack: Stack, frequency: float, sine: float) -> None:
    response = stack_response(stack=stack, air=AIR, frequency_hz=frequency, sin_theta=sine)
    power = abs(response.transmission) ** 2
    assert power + abs(response.reflection_below) ** 2 == pytest.approx(1.0, abs=1e-4)
    assert power + abs(response.reflection_above) ** 2 == pytest.approx(1.0, abs=1e-4)


@given(stack=stacks(lossless=False), frequency=frequencies_hz, sine=sines)
@settings(max_examples=250, deadline=None)
def test_stacks_make_no_energy_and_are_reciprocal(stack: Stack, frequency: float, sine: float) -> None:
    case = {"air": AIR, "frequency_hz": frequency, "sin_theta": sine}
    response, turned = (
        stack_response(stack=stack, **case),
        stack_response(stack=Stack(layers=stack.layers[::-1]), **case),
    )
    for reflection in (response.reflection_below, response.reflection_above):
        assert abs(response.transmission) ** 2 + abs(reflection) ** 2 <= 1.0 + 1e-6
    assert complex(turned.transmission) == pytest.approx(complex(response.transmission), rel=1e-4, abs=1e-14)
    assert complex(turned.reflection_below) == pytest.approx(complex(response.reflection_above), abs=1e-5)
    assert complex(turned.reflection_above) == pytest.approx(complex(response.reflection_below), abs=1e-5)


@pytest.mark.parametrize("plate", [PAPER, PVC, ALUMINIUM], ids=["paper", "pvc", "aluminium"])
@pytest.mark.parametrize("parts", [(0.5, 0.5), (0.2, 0.5, 0.3), (0.1,) * 10])
def test_a_plate_cut_into_layers_is_the_plate(plate: ElasticPlate, parts: tuple[float, ...]) -> None:
    frequency = np.array([60e3, 200e3, 500e3])[:, None]
    layers = tuple(replace(plate, thickness_m=plate.thickness_m * part) for part in parts)
    case = {"air": AIR, "frequency_hz": frequency, "sin_theta": SINES}
    whole, cut = plate_response(plate=plate, **case), stack_response(stack=Stack(layers=layers), **case)
    np.testing.assert_allclose(cut.transmission, whole.transmission, rtol=1e-8)
    np.testing.assert_allclose(cut.reflection_below, whole.reflection, rtol=1e-8)
    np.testing.assert_allclose(cut.reflection_above, whole.reflection, rtol=1e-8)


def test_one_layer_is_the_closed_form() -> None:
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": SINES}
    for layer, closed in (
        (PVC, plate_response(plate=PVC, **case)),
        (air_layer(air=AIR, thickness_m=1e-3), fluid_response(layer=air_layer(air=AIR, thickness_m=1e-3), **case)),
    ):
        response = stack_response(stack=Stack(layers=(layer,)), **case)
        np.testing.assert_array_equal(response.transmission, closed.transmission)
        np.testing.assert_array_equal(response.reflection_above, closed.reflection)


def test_two_sheets_and_a_film_are_a_double() -> None:
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": SINES}
    film = film_layer(air=AIR, thickness_m=1e-5, frequency_hz=200e3)
    stack = stack_response(stack=Stack(layers=(PAPER, film, PVC)), **case)
    pair = double_response(
        first=plate_response(plate=PAPER, **case),
        second=plate_response(plate=PVC, **case),
        film=even_film(fluid_response(layer=film, **case)),
    )
    np.testing.assert_allclose(stack.transmission, pair.transmission, rtol=1e-10)
    np.testing.assert_allclose(stack.reflection_below, pair.reflection_below, rtol=1e-10)
    np.testing.assert_allclose(stack.reflection_above, pair.reflection_above, rtol=1e-10)


def test_layers_of_the_same_fluid_add_up() -> None:
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": SINES}
    water = FluidLayer(
        thickness_m=1e-5, density_kg_m3=998.0, in_plane_density_kg_m3=998.0, bulk_modulus_pa=998.0 * 1482.0**2
    )
    three = stack_response(stack=Stack(layers=(water, water, water)), **case)
    one = fluid_response(layer=replace(water, thickness_m=3e-5), **case)
    np.testing.assert_allclose(three.transmission, one.transmission, rtol=1e-9)


def test_sheets_that_touch_without_a_bond_slide() -> None:
    # Two halves joined by their reflections are softer in bending than the whole: they do not share shear.
    half = replace(PVC, thickness_m=5e-4)
    case = {"air": AIR, "frequency_hz": 200e3, "sin_theta": SINES}
    loose = join(below=plate_response(plate=half, **case), above=plate_response(plate=half, **case))
    welded = stack_response(stack=Stack(layers=(half, half)), **case)
    assert complex(loose.transmission[0]) == pytest.approx(complex(welded.transmission[0]), rel=1e-8)
    assert np.max(np.abs(loose.transmission / welded.transmission - 1.0)) > 0.1


def test_thick_stacks_neither_overflow_nor_lose_their_transmission() -> None:
    rubber = isotropic_plate(
        thickness_m=0.05, density_kg_m3=1100.0, youngs_modulus_pa=1e7, poisson_ratio=0.49, loss_factor=0.3
    )
    case = {"air": AIR, "frequency_hz": 500e3, "sin_theta": SINES}
    stack = stack_response(stack=Stack(layers=(rubber, replace(rubber, thickness_m=0.03), rubber)), **case)
    whole = plate_response(plate=replace(rubber, thickness_m=0.13), **case)
    assert np.all(np.abs(whole.transmission[:1]) > 0.0)
    np.testing.assert_allclose(stack.transmission, whole.transmission, rtol=1e-8)
    nothing = stack_response(stack=Stack(layers=(replace(rubber, thickness_m=100.0),) * 2), **case)
    assert np.all(nothing.transmission == 0.0)
    assert np.all(np.isfinite(nothing.reflection_below))


def test_a_metal_coating_of_nanometres_is_answered() -> None:
    # 30 nm of aluminium on 12 um of polyester, welded: 0.1 g/m2 of mass, next to nothing.
    film = isotropic_plate(
        thickness_m=12e-6, density_kg_m3=1390.0, youngs_modulus_pa=4.5e9, poisson_ratio=0.38, loss_factor=0.03
    )
    case = {"air": AIR, "frequency_hz": 300e3, "sin_theta": SINES}
    coated = stack_response(stack=Stack(layers=(film, replace(ALUMINIUM, thickness_m=30e-9))), **case)
    np.testing.assert_allclose(coated.transmission, plate_response(plate=film, **case).transmission, rtol=0.01)


def test_layers_broadcast() -> None:
    frequency = np.array([100e3, 200e3])[:, None]
    thickness = np.array([5e-5, 1e-4, 2e-4])[:, None, None]
    stack = Stack(
        layers=(
            replace(PAPER, thickness_m=thickness),
            PVC,
            film_layer(air=AIR, thickness_m=1e-5, frequency_hz=frequency),
            PAPER,
        )
    )
    response = stack_response(stack=stack, air=AIR, frequency_hz=frequency, sin_theta=SINES)
    assert response.transmission.shape == response.reflection_above.shape == (3, 2, SINES.size)
    one = stack_response(
        stack=Stack(layers=(PAPER, PVC, film_layer(air=AIR, thickness_m=1e-5, frequency_hz=200e3), PAPER)),
        air=AIR,
        frequency_hz=200e3,
        sin_theta=float(SINES[9]),
    )
    assert one.transmission.shape == ()
    assert complex(response.transmission[1, 1, 9]) == pytest.approx(complex(one.transmission), rel=1e-12)


def test_a_stack_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one layer"):
        Stack(layers=())
