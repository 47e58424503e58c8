"""Open path of a piston pair: against Rayleigh's integral over both faces, and what alignment costs."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from sheetmargin_service.acoustics.beam import (
    alignment_limits,
    grazing_taper,
    half_angle_rad,
    offset_loss_db,
    open_path_coupling,
    open_path_db,
    piston_directivity,
    turn_loss_db,
    turned_face_coupling,
)
from support.quadrature import rayleigh_coupling

Array = NDArray[np.float64]
SPEED = 344.0
WAVENUMBER, RADIUS, GAP = 2.0 * np.pi * 200e3 / SPEED, 0.007, 0.045
# A smaller face for the double integral: k a = 12.
SMALL = 12.0 / WAVENUMBER


@pytest.mark.parametrize("offset_m", [0.0, 1e-3, 4e-3, 9e-3])
@pytest.mark.parametrize("gap_m", [0.015, 0.045])
def test_offset_faces_agree_with_the_rayleigh_integral(offset_m: float, gap_m: float) -> None:
    def move(points: Array) -> Array:
        return points + np.array([offset_m, 0.0, gap_m])

    expected = rayleigh_coupling(wavenumber_per_m=WAVENUMBER, radius_m=SMALL, receiver=move)
    coupling = open_path_coupling(wavenumber_per_m=WAVENUMBER, radius_m=SMALL, gap_m=gap_m, offset_m=offset_m)
    np.testing.assert_allclose(coupling, expected, atol=1e-6)


@pytest.mark.parametrize("angle_deg", [0.0, 2.0, 5.0, 12.0])
@pytest.mark.parametrize("gap_m", [0.015, 0.045])
def test_turned_face_agrees_with_the_rayleigh_integral(angle_deg: float, gap_m: float) -> None:
    """To 0.1 % of the coupling of touching faces: the grazing waves that the taper leaves out."""
    angle = np.radians(angle_deg)

    def turn(points: Array) -> Array:
        x, y, _ = points.T
        return np.stack([x * np.cos(angle), y, gap_m + x * np.sin(angle)], axis=-1)

    expected = rayleigh_coupling(wavenumber_per_m=WAVENUMBER, radius_m=SMALL, receiver=turn)
    coupling = turned_face_coupling(wavenumber_per_m=WAVENUMBER, radius_m=SMALL, gap_m=gap_m, angle_rad=angle)
    np.testing.assert_allclose(coupling, expected, atol=1e-3)


def test_arguments_broadcast() -> None:
    wavenumber = WAVENUMBER * np.array([[0.9], [1.0]])
    coupling = open_path_coupling(wavenumber_per_m=wavenumber, radius_m=RADIUS, gap_m=np.array([0.03, 0.04, 0.06]))
    assert coupling.shape == (2, 3)
    alone = open_path_coupling(wavenumber_per_m=float(wavenumber[1, 0]), radius_m=RADIUS, gap_m=0.04)
    np.testing.assert_allclose(coupling[1, 1], alone, rtol=1e-10)


def test_far_away_a_turned_face_loses_its_directivity() -> None:
    angle = np.radians([1.0, 2.0, 3.0])
    loss = turn_loss_db(wavenumber_per_m=WAVENUMBER, radius_m=RADIUS, gap_m=2.0, angle_rad=angle)
    directivity = piston_directivity(wavenumber_radius=WAVENUMBER * RADIUS, sine=np.sin(angle))
    np.testing.assert_allclose(loss, -20.0 * np.log10(directivity), atol=0.01)


def test_far_away_an_offset_loses_both_directivities() -> None:
    """Seen from each other, both faces are off axis; the longer path costs less than 0.03 dB here."""
    gap, angle = 2.0, np.radians([1.0, 2.0, 3.0])
    loss = offset_loss_db(wavenumber_per_m=WAVENUMBER, radius_m=RADIUS, gap_m=gap, offset_m=gap * np.tan(angle))
    directivity = piston_directivity(wavenumber_radius=WAVENUMBER * RADIUS, sine=np.sin(angle))
    np.testing.assert_allclose(loss, -40.0 * np.log10(directivity), atol=0.03)


def test_limits_cost_what_they_say() -> None:
    """A degree or more, a few millimetres: both alignments matter."""
    limits = alignment_limits(wavenumber_per_m=WAVENUMBER, radius_m=RADIUS, gap_m=GAP)
    offset = np.array([limits.offset_m_1db, limits.offset_m_3db])
    angle = np.array([limits.angle_rad_1db, limits.angle_rad_3db])
    by_offset = offset_loss_db(wavenumber_per_m=WAVENUMBER, radius_m=RADIUS, gap_m=GAP, offset_m=offset)
    by_angle = turn_loss_db(wavenumber_per_m=WAVENUMBER, radius_m=RADIUS, gap_m=GAP, angle_rad=angle)
    np.testing.assert_allclose(by_offset, [1.0, 3.0], atol=0.01)
    np.testing.assert_allclose(by_angle, [1.0, 3.0], atol=0.01)
    assert 1e-3 < offset[0] < offset[1] < 1e-2
    assert np.radians(0.5) < angle[0] < angle[1] < np.radians(10.0)


@pytest.mark.parametrize("frequency_hz", [75e3, 200e3, 500e3])
@pytest.mark.parametrize("wavenumber_radius", [15.0, 25.0, 40.0])
@pytest.mark.parametrize("near_fields", [0.1, 0.6, 3.0])
def test_limits_exist_wherever_a_pair_may_stand(
    frequency_hz: float, wavenumber_radius: float, near_fields: float
) -> None:
    wavenumber = 2.0 * np.pi * frequency_hz / SPEED
    radius = wavenumber_radius / wavenumber
    gap = max(near_fields * wavenumber * radius**2 / (2.0 * np.pi), 0.01)
    limits = alignment_limits(wavenumber_per_m=wavenumber, radius_m=radius, gap_m=gap)
    assert 0.0 < limits.offset_m_1db < limits.offset_m_3db
    assert 0.0 < limits.angle_rad_1db < limits.angle_rad_3db


def test_open_path_falls_with_divergence_and_absorption() -> None:
    gap = np.array([0.045, 0.09])
    arguments = {"wavenumber_per_m": WAVENUMBER, "radius_m": RADIUS, "gap_m": gap, "reference_gap_m": 0.045}
    dry = open_path_db(**arguments, absorption_db_per_m=0.0)
    damped = open_path_db(**arguments, absorption_db_per_m=8.2)
    assert dry[0] == pytest.approx(0.0, abs=1e-9)
    assert dry[1] < 0.0
    np.testing.assert_allclose(damped - dry, [0.0, -8.2 * 0.045], atol=1e-9)


def test_taper_leaves_the_steep_and_drops_the_grazing() -> None:
    """Abramowitz and Stegun, tables of chapter 7: erfc(5/3)/2 = 0.0092, erfc(10/3)/2 = 1.2e-6."""
    taper = grazing_taper(np.radians([0.0, 65.0, 70.0, 75.0, 80.0, 88.0]))
    np.testing.assert_allclose(taper, [1.0, 1.0 - 1.2e-6, 0.9908, 0.5, 0.0092, 0.0], atol=1e-4)
    assert 0.0 < taper[-1] < 1e-9


def test_taper_goes_on_off_the_real_angles() -> None:
    """Cauchy and Riemann: the slope along either axis is the same."""
    at, step = np.radians([60.0, 74.0, 80.0]) + 0.03j, 1e-6
    along = (grazing_taper(at + step) - grazing_taper(at - step)) / (2.0 * step)
    across = (grazing_taper(at + 1j * step) - grazing_taper(at - 1j * step)) / (2j * step)
    np.testing.assert_allclose(along, across, rtol=1e-6, atol=1e-9)


def test_a_face_may_be_too_small_or_too_near() -> None:
    with pytest.raises(ValueError, match="no -3 dB angle"):
        half_angle_rad(wavenumber_per_m=100.0, radius_m=0.01)
    with pytest.raises(ValueError, match="half a wavelength"):
        open_path_coupling(wavenumber_per_m=WAVENUMBER, radius_m=RADIUS, gap_m=5e-4)


def test_half_of_the_power_is_heard_at_the_half_angle() -> None:
    for wavenumber_radius in (1.7, 5.0, 40.0):
        angle = half_angle_rad(wavenumber_per_m=100.0 * wavenumber_radius, radius_m=0.01)
        heard = piston_directivity(wavenumber_radius=wavenumber_radius, sine=np.sin(angle))
        assert heard**2 == pytest.approx(0.5, rel=1e-12)
