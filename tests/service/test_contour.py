"""The path of integration: its shape, its nodes, and how beams that ask for more get it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import jv
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.beam import GRAZING_END_RAD, open_path_coupling
from sheetmargin_service.acoustics.contour import (
    DEPTH_RAD,
    NODES,
    USUAL_TURN,
    Contour,
    contour_for,
    dense_places,
    project_kernel,
    slopes,
)
from sheetmargin_service.acoustics.operators import (
    gaussian_band,
    level_db,
    ring,
    transmission_operator,
)
from sheetmargin_service.acoustics.plate import plate_from_speeds, plate_response
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.pair import contour_of

SPEED = humid_air().sound_speed_m_per_s
USUAL = Contour()


def test_the_path_leaves_the_axis_and_comes_back() -> None:
    ends, _ = USUAL.run(np.array([0.0, 1.0]))
    np.testing.assert_allclose(ends, [0.0, GRAZING_END_RAD], atol=1e-12)
    inside, _ = USUAL.run(np.linspace(0.01, 0.99, 99))
    assert np.all(inside.imag > 0.0)
    assert np.all(np.diff(inside.real) > 0.0)
    assert DEPTH_RAD < np.max(inside.imag) < 1.5 * DEPTH_RAD
    np.testing.assert_allclose(USUAL.height_rad(inside.real), inside.imag, rtol=1e-9)
    assert np.all(USUAL.height_rad(np.array([-0.1, 2.0])) == 0.0)


def test_its_slope_is_the_derivative() -> None:
    s, step = np.linspace(0.05, 0.95, 19), 1e-6
    (above, _), (below, _) = USUAL.run(s + step), USUAL.run(s - step)
    np.testing.assert_allclose(USUAL.run(s)[1], (above - below) / (2.0 * step), rtol=1e-6)


def test_integrals_along_it_are_those_of_the_real_axis() -> None:
    """Of even functions without poles, times odd kernels: cos^2 sin from 0 to the end, by hand."""
    places, measure = dense_places(4 * USUAL.nodes)
    theta, slope = USUAL.run(places)
    weights = project_kernel(USUAL, (np.sin(theta) * slope)[:, None], places=places, measure=measure)[:, 0]
    found = np.cos(USUAL.theta) ** 2 @ weights
    assert found == pytest.approx((1.0 - np.cos(GRAZING_END_RAD) ** 3) / 3.0, rel=1e-9)


def test_derivatives_from_samples() -> None:
    """cos(5 theta) and a resonance 0.03 rad below the path, as a plate's samples have it."""
    theta = USUAL.theta
    np.testing.assert_allclose(np.cos(5.0 * theta) @ slopes(USUAL), -5.0 * np.sin(5.0 * theta), atol=1e-4)
    pole = 0.3 - 0.002j
    samples = 1.0 / (theta**2 - pole**2)
    expected = -2.0 * theta * samples**2
    assert np.max(np.abs(samples @ slopes(USUAL) - expected)) < 0.05 * np.max(np.abs(expected))


def test_few_paths_serve_all() -> None:
    """The usual one for every gated class of the reference; twice the nodes at half the depth for a beam that asks for
    it, as steady tones at long gaps do."""
    for c in reference_catalogue().classes:
        if c.principle == "ultrasonic":
            assert (contour_of(c.parameters) == USUAL) == (c.parameters.drive == "gated")
    assert contour_for(gap_rad=USUAL_TURN, tilt_rad=0.5 * np.pi) == USUAL
    twice = contour_for(gap_rad=2.5 * 2.0 * NODES, tilt_rad=0.5 * np.pi)
    assert (twice.nodes, twice.depth_rad) == (2 * NODES, 0.5 * DEPTH_RAD)
    assert contour_for(gap_rad=400.0, tilt_rad=0.0) == USUAL
    assert USUAL.theta is Contour().theta


PLATES = [
    plate_from_speeds(
        thickness_m=thickness,
        density_kg_m3=density,
        longitudinal_speed_m_per_s=longitudinal,
        shear_speed_m_per_s=shear,
        loss_factor=loss,
    )
    for thickness in (1e-4, 4e-4)
    for density, longitudinal, shear, loss in (
        (7870.0, 5890.0, 3240.0, 2e-3),
        (2700.0, 6400.0, 3100.0, 2e-3),
        (2500.0, 5570.0, 3430.0, 2e-3),
        (2330.0, 8430.0, 5840.0, 5e-4),
        (1180.0, 2700.0, 1330.0, 0.03),
    )
]
"""Ten thin plates, far from their thickness resonances. Steel, aluminium, glass: Kaye and Laby; silicon and plastic
from memory."""


@pytest.mark.parametrize(
    ("frequency_hz", "radius_m", "gap_m"),
    [(75e3, 17e-3, 0.15), (500e3, 4e-3, 0.035), (1e6, 5e-3, 0.06)],
)
def test_twice_the_nodes_give_the_same(frequency_hz: float, radius_m: float, gap_m: float) -> None:
    """Ten plates at tilts to 45 degrees, to 1 MHz and k gap of 1,100: 0.1 dB relative to the larger of the level and
    -90 dB; at most 0.03 dB to 35 degrees."""
    frequency, weight = gaussian_band(centre_hz=frequency_hz, bandwidth_hz=0.06 * frequency_hz, nodes=3)
    operator = transmission_operator(
        radius_m=radius_m,
        frequency_hz=frequency,
        band_weight=weight,
        gap_m=np.array([0.4, 1.0]) * gap_m,
        tilt_rad=np.radians([0.0, 10.0, 20.0, 35.0, 45.0]),
        sound_speed_m_per_s=SPEED,
    )
    fine = _by_brute_force(operator, radius_m, Contour(depth_rad=0.7 * operator.contour.depth_rad, nodes=600))
    for plate in PLATES:
        levels = []
        for theta, weights in ((operator.contour.theta, operator.at_nodes), fine):
            at = {"air": humid_air(), "frequency_hz": frequency[:, None], "sin_theta": np.sin(theta)}
            samples = plate_response(plate=plate, **at).transmission
            levels.append(level_db(operator=operator, amplitude=np.asarray((samples[:, None] @ weights)[:, 0])))
        found, wanted = (10.0 ** (level / 20.0) for level in levels)
        deviation = 20.0 * np.log10(1.0 + np.abs(found - wanted) / np.maximum(wanted, 10.0**-4.5))
        assert np.max(deviation) < 0.1
        assert np.max(deviation.reshape(2, 5)[:, :4]) < 0.03


def _by_brute_force(operator, radius_m, contour):
    """Angles (Q,) on another path and weights (F, Q, N): the azimuth added up point by point, no series."""
    places, measure = dense_places(contour.nodes)
    theta, slope = contour.run(places)
    weights = []
    for frequency in operator.frequency_hz:
        k = 2.0 * np.pi * frequency / SPEED
        open_path = open_path_coupling(wavenumber_per_m=k, radius_m=radius_m, gap_m=operator.gap_m)
        by_setting = []
        for gap, coupling in zip(operator.gap_m, open_path, strict=True):
            count = min(480, int(0.7 * k * (gap + 2.0 * radius_m)) + 64)
            azimuth = (np.arange(count) + 0.5) * (np.pi / count)
            for tilt in operator.tilt_rad:
                x = np.cos(tilt) * np.cos(theta)[:, None] + np.sin(tilt) * np.sin(theta)[:, None] * np.cos(azimuth)
                z = k * radius_m * np.sqrt(1.0 - x * x)
                field = (2.0 * jv(1, z) / z) ** 2 * np.exp(-1j * k * gap * x)
                scale = (k * radius_m) ** 2 / (4.0 * np.pi * coupling)
                by_setting.append(scale * ring(theta) * slope * measure * field.mean(axis=1))
        weights.append(np.stack(by_setting, axis=-1))
    return theta, np.stack(weights)
