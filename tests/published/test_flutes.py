"""Flutes of corrugated board against the standard's ranges and the trade's take-up factors."""

from math import pi, sqrt

import pytest
from scipy.special import ellipe
from sheetmargin_service.materials.corrugated import load_flutes

# DIN 55468-1: flute height and pitch in mm, read in a public summary of the standard; N is not in what was read.
DIN_55468 = {
    "A": ((4.0, 4.9), (8.0, 9.5)),
    "B": ((2.2, 3.0), (5.5, 6.5)),
    "C": ((3.1, 3.9), (6.8, 7.9)),
    "E": ((1.0, 1.8), (3.0, 3.5)),
    "F": ((0.6, 0.9), (1.9, 2.6)),
}
# Take-up factors that converters use. A, B, C, E: 1.55, 1.36, 1.45, 1.27 (a public costing tool's defaults) and
# 1.50, 1.30, 1.43, 1.25 (trade tables); F: 1.23 (a die maker's glossary). Low authority, hence both ends are allowed.
TAKE_UP = {"A": (1.50, 1.55), "B": (1.30, 1.36), "C": (1.43, 1.45), "E": (1.25, 1.27), "F": (1.20, 1.23)}


@pytest.mark.parametrize("name", DIN_55468)
def test_height_and_pitch(name: str) -> None:
    flute = load_flutes()[name]
    (low, high), (short, long) = DIN_55468[name]
    assert low <= flute.height_mm.nominal <= high
    assert short <= flute.pitch_mm.nominal <= long


@pytest.mark.parametrize("name", TAKE_UP)
def test_take_up_of_a_sine_is_the_trades(name: str) -> None:
    low, high = TAKE_UP[name]
    assert 0.99 * low <= load_flutes()[name].take_up <= 1.01 * high


def test_take_up_is_the_elliptic_integral() -> None:
    # Arc of y = (h/2) sin(2 pi x/p) over one pitch: (2/pi) sqrt(1 + a^2) E(a^2/(1 + a^2)), a = pi h/p
    # (Abramowitz and Stegun, 17.3.3 for E).
    for flute in load_flutes().values():
        square = (pi * flute.height_mm.nominal / flute.pitch_mm.nominal) ** 2
        arc = 2 / pi * sqrt(1 + square) * ellipe(square / (1 + square))
        assert flute.take_up == pytest.approx(arc, rel=1e-12)
