"""Two coaxial pistons against published integrals and limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j0, j1
from sheetmargin_service.acoustics.beam import half_angle_rad, open_path_coupling
from support.quadrature import williams_coupling

SPEED = 344.0


def difference_db(coupling: complex, reference: complex) -> float:
    return float(20.0 * np.log10(abs(coupling) / abs(reference)))


@pytest.mark.parametrize("wavenumber_radius", [6.0, 12.0, 26.0, 40.0])
@pytest.mark.parametrize("radii", [0.5, 1.0, 3.0, 10.0, 40.0])
def test_williams_exact_integral(wavenumber_radius: float, radii: float) -> None:
    """Williams, "The piston source at high frequencies", JASA 23, 1 (1951): 0.02 dB and, beyond that, the phase."""
    radius = 0.007
    wavenumber = wavenumber_radius / radius
    coupling = complex(open_path_coupling(wavenumber_per_m=wavenumber, radius_m=radius, gap_m=radii * radius))
    exact = williams_coupling(wavenumber_per_m=wavenumber, radius_m=radius, gap_m=radii * radius)
    assert abs(difference_db(coupling, exact)) < 0.02
    assert abs(coupling - exact) < 1e-6


def worst_deviation_from_the_limit_db(wavenumber_radius: float) -> float:
    """From |1 - e^(-2 pi i/s) (J0(2 pi/s) + i J1(2 pi/s))| over s = z wavelength/a^2 from 0.3 to 6."""
    radius = 0.007
    wavenumber = wavenumber_radius / radius
    s = np.geomspace(0.3, 6.0, 40)
    x = 2.0 * np.pi / s
    limit = 1.0 - np.exp(-1j * x) * (j0(x) + 1j * j1(x))
    coupling = [
        complex(open_path_coupling(wavenumber_per_m=wavenumber, radius_m=radius, gap_m=radius**2 * wavenumber / y))
        for y in x
    ]
    return max(abs(difference_db(c, complex(r))) for c, r in zip(coupling, limit, strict=True))


@pytest.mark.parametrize("wavenumber_radius", [35.0, 50.0])
def test_rogers_and_van_buren(wavenumber_radius: float) -> None:
    """Closed form of Rogers and Van Buren, JASA 55, 724 (1974): a limit of large k a, 0.1 dB from 35."""
    assert worst_deviation_from_the_limit_db(wavenumber_radius) < 0.1


def test_rogers_and_van_buren_is_a_limit() -> None:
    """At k a = 9 the closed form, not the coupling, is 0.41 dB off; the deviation falls as k a grows."""
    deviations = [worst_deviation_from_the_limit_db(ka) for ka in (9.0, 18.0, 36.0)]
    assert deviations == sorted(deviations, reverse=True)
    assert deviations[0] == pytest.approx(0.41, abs=0.02)


@pytest.mark.parametrize("wavenumber_radius", [10.0, 26.0, 40.0])
def test_half_power_angle(wavenumber_radius: float) -> None:
    """Kinsler, Frey, Coppens and Sanders, Fundamentals of Acoustics, chapter 7: 3 dB down at k a sin = 1.616."""
    angle = half_angle_rad(wavenumber_per_m=wavenumber_radius / 0.007, radius_m=0.007)
    assert wavenumber_radius * np.sin(angle) == pytest.approx(1.616, abs=5e-4)
