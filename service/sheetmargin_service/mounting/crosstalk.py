"""Pairs side by side across the sheet: what one hears of the next through the air."""

from __future__ import annotations

from bisect import bisect_left
from functools import lru_cache
from math import atan2, ceil, hypot, log10, sin

from scipy.special import hankel1

from sheetmargin_service.acoustics.beam import open_path_coupling
from sheetmargin_service.principles.sound_beam import SoundBeam

_FURTHEST_MM = 1e5


def directivity_envelope(x: float) -> float:
    """Upper envelope of |2 J1(x)/x|, which falls steadily and knows no nulls: 2 |H1(x)|/x, at most 1.

    H1 is the Hankel function, |H1|^2 = J1^2 + Y1^2 (DLMF 10.4.3). A spacing must not rest on a null.
    """
    return 1.0 if x < 1.0 else min(1.0, 2.0 * abs(complex(hankel1(1, x))) / x)


@lru_cache(maxsize=256)
def _own_coupling(gap_mm: float, beam: SoundBeam) -> float:
    coupling = open_path_coupling(
        wavenumber_per_m=beam.wavenumber_per_m, radius_m=1e-3 * beam.face_radius_mm, gap_m=1e-3 * gap_mm
    )
    return abs(complex(coupling))


def neighbour_level_db(*, pitch_mm: float, gap_mm: float, beam: SoundBeam, neighbours: int) -> float:
    """Direct sound of the neighbours at a receiver, in dB over its own open path, with no sheet in the way.

    Far field of a piston off its axis, k a^2/(2 r) D(theta) at the emitter and D(theta) at the receiver (Kinsler, Frey,
    Coppens and Sanders, Fundamentals of Acoustics, chapter 7), with the envelope for D; amplitudes of several add.
    """
    k, radius = beam.wavenumber_per_m, 1e-3 * beam.face_radius_mm
    path = hypot(pitch_mm, gap_mm)
    off_axis = directivity_envelope(k * radius * sin(atan2(pitch_mm, gap_mm)))
    heard = neighbours * 0.5 * k * radius**2 / (1e-3 * path) * off_axis**2
    return 20.0 * log10(heard / _own_coupling(gap_mm, beam)) - beam.absorption_db_per_m * 1e-3 * (path - gap_mm)


@lru_cache(maxsize=1024)
def least_pitch_mm(*, gap_mm: float, beam: SoundBeam, body_diameter_mm: float, neighbours: int) -> float:
    """Pitch at which the neighbours are no louder than the pair's own bypass; at least the width of a body."""

    def excess(pitch_mm: float) -> float:
        return beam.bypass_db + neighbour_level_db(pitch_mm=pitch_mm, gap_mm=gap_mm, beam=beam, neighbours=neighbours)

    if excess(body_diameter_mm) <= 0.0:
        return body_diameter_mm
    microns = range(round(1e3 * body_diameter_mm), round(1e3 * _FURTHEST_MM))
    return 1e-3 * (microns.start + bisect_left(microns, True, key=lambda at: excess(1e-3 * at) <= 0.0))


def turns(*, lanes: int, pitch_mm: float | None, least_mm: float) -> int:
    """How many groups of lanes sound one after another, so that lanes of one group stand far enough apart.

    An unknown pitch counts as too small for any two.
    """
    if lanes == 1 or (pitch_mm is not None and pitch_mm >= least_mm):
        return 1
    return lanes if pitch_mm is None else min(lanes, ceil(least_mm / pitch_mm))
