"""Bounces: against Rayleigh's integral over a face and its mirror image, and what they do to the level."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.beam import half_angle_rad, open_path_coupling
from sheetmargin_service.acoustics.plate import limp_response
from sheetmargin_service.acoustics.standing_waves import gate_share, mirror_bounce, ripple_db
from support.quadrature import rayleigh_coupling

Array = NDArray[np.float64]
AIR = humid_air()
SPEED = AIR.sound_speed_m_per_s
# Frequency Hz, face radius m, gap m: k a 23 to 29, gaps of 0.6 to 1.6 near-field lengths.
PAIRS = ((75e3, 0.017, 0.1), (120e3, 0.0125, 0.07), (200e3, 0.007, 0.045), (300e3, 0.0055, 0.03), (400e3, 0.004, 0.03))


def bounce(*, frequency_hz: float, radius_m: float, gap_m: list[float], tilt_rad: Array) -> NDArray[np.complex128]:
    """Off a perfect reflector, (N,)."""
    return mirror_bounce(
        radius_m=radius_m,
        frequency_hz=frequency_hz,
        gap_m=np.array(gap_m),
        tilt_rad=tilt_rad,
        sound_speed_m_per_s=SPEED,
    )


@pytest.mark.parametrize("pair", PAIRS)
def test_square_on_a_mirror_is_an_equal_face_at_twice_the_distance(pair: tuple[float, float, float]) -> None:
    frequency, radius, gap = pair
    found = bounce(frequency_hz=frequency, radius_m=radius, gap_m=[gap], tilt_rad=np.zeros(1))
    wavenumber = 2.0 * np.pi * frequency / SPEED
    expected = open_path_coupling(wavenumber_per_m=wavenumber, radius_m=radius, gap_m=gap)
    np.testing.assert_allclose(found, expected, atol=1e-4)


@pytest.mark.parametrize("tilt_deg", [0.0, 3.0, 7.0, 20.0])
def test_tilted_mirror_agrees_with_the_rayleigh_integral(tilt_deg: float) -> None:
    """The emitter's own disc, mirrored in a plane at half the gap along the axis. k a = 12."""
    frequency, gap, tilt = 200e3, 0.03, np.radians(tilt_deg)
    radius = 12.0 * SPEED / (2.0 * np.pi * frequency)
    normal = np.array([np.sin(tilt), 0.0, np.cos(tilt)])

    def mirror(points: Array) -> Array:
        distance = 0.5 * gap * normal[2] - points @ normal
        return points + 2.0 * distance[:, None] * normal

    expected = rayleigh_coupling(
        wavenumber_per_m=2.0 * np.pi * frequency / SPEED, radius_m=radius, receiver=mirror, radial=20, azimuthal=64
    )
    (found,) = bounce(frequency_hz=frequency, radius_m=radius, gap_m=[gap], tilt_rad=np.array([tilt]))
    assert abs(found - expected) < 1e-3


def test_a_heavy_sheet_is_a_mirror_and_a_light_one_is_not() -> None:
    """Over two half angles of the beam: what a limp sheet sends back, over what a mirror does."""
    frequency, radius, _ = PAIRS[2]
    half_angle = half_angle_rad(wavenumber_per_m=2.0 * np.pi * frequency / SPEED, radius_m=radius)
    sine = np.sin(np.linspace(0.0, 2.0 * half_angle, 9))
    mass = np.array([1e-4, 0.08, 3.0])[:, None]
    back = np.abs(limp_response(mass_kg_m2=mass, air=AIR, frequency_hz=frequency, sin_theta=sine).reflection)
    np.testing.assert_allclose(back[2], 1.0, rtol=1e-3)
    np.testing.assert_allclose(back[1], 1.0, rtol=0.02)
    assert np.all(back[0] < 0.2)


def test_ripple_is_the_swing_of_the_two_faces_equations() -> None:
    """Strengths e = 1 + r (b1 e + t g), g = r (t e + b2 g), with t = 0 behind a heavy sheet: e swings as b1 turns.

    20 lg((1+x)/(1-x)) by hand: 0.1 1.743 dB, 0.3 5.377 dB, 0.5 9.542 dB.
    """
    np.testing.assert_allclose(ripple_db([0.0, 0.1, 0.3, 0.5]), [0.0, 1.743, 5.377, 9.542], atol=1e-3)
    r, b1, b2 = 0.7, 0.6, -0.3 + 0.4j
    level = []
    for phase in np.linspace(0.0, 2.0 * np.pi, 721):
        matrix = np.array([[1.0 - r * b1 * np.exp(1j * phase), 0.0], [0.0, 1.0 - r * b2]])
        level.append(20.0 * np.log10(abs(np.linalg.solve(matrix, [1.0, 0.0])[0])))
    assert np.ptp(level) == pytest.approx(float(ripple_db(r * b1)), abs=1e-3)


def test_gate_keeps_late_bounces_out() -> None:
    path = SPEED * np.array([0.0, 50e-6, 100e-6, 200e-6])
    np.testing.assert_allclose(gate_share(gate_s=100e-6, path_m=path, sound_speed_m_per_s=SPEED), [1.0, 0.5, 0.0, 0.0])


@pytest.mark.parametrize("pair", PAIRS)
def test_tilt_takes_the_standing_wave_away(pair: tuple[float, float, float]) -> None:
    """Orders of magnitude at tilts of 0 to 3 half angles (-3 dB, one way), faces that reflect 0.5 to 0.9, steady tone.

    A face hears 0.74 to 0.83 of itself square on, then about 1/4, 1/8 and below 1/10. One face's ripple, peak to peak
    over half a wavelength: 7 to 16 dB, 2 to 6 dB, 1 to 3 dB, below 1.5 dB. Both faces in step reach twice that.
    """
    frequency, radius, gap = pair
    half_angle = half_angle_rad(wavenumber_per_m=2.0 * np.pi * frequency / SPEED, radius_m=radius)
    tilt = half_angle * np.arange(4)
    size = np.abs(bounce(frequency_hz=frequency, radius_m=radius, gap_m=[gap], tilt_rad=tilt))
    assert np.all((size > [0.7, 0.2, 0.08, 0.03]) & (size < [0.85, 0.35, 0.17, 0.1]))
    ripple = ripple_db(np.outer([0.5, 0.9], size))
    assert np.all((ripple > [6.5, 1.7, 0.7, 0.2]) & (ripple < [17.0, 6.0, 3.0, 1.6]))
    assert np.all(np.diff(ripple, axis=1) < 0.0)
