"""Readings of an invented pair on a bench, by a route of their own: films by the mass law, floors as phasors.

Films of plastic are thin against every wavelength in them: T = 1 / (1 + i w m / (2 Z)) (L. Cremer, M. Heckl, B. A. T.
Petersson, Structure-Borne Sound, 3rd ed., chapter 6; normal incidence). What the beam adds is below 0.3 dB at the
frequencies and faces used here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from sheetmargin_service.acoustics.air import absorption_db_per_m, humid_air
from sheetmargin_service.acoustics.beam import open_path_db

FILMS_UM = (12.0, 23.0, 50.0, 100.0)
PET_KG_M3 = 1390.0
"""Biaxially oriented polyester film: 1.39 g/cm3, as data sheets have it (typical, from memory)."""
TOP_DB = 20.0
"""10 V."""


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What the readings are made with. Attenuations in dB at the reference gap, as a class has them."""

    frequency_hz: float = 180e3
    face_radius_mm: float = 6.5
    reference_gap_mm: float = 40.0
    overload_db: float = 8.0
    noise_db: float = 97.0
    bypass_db: float = 88.0
    span_db: float = 76.0
    gain_range_db: float = 26.0
    reading_db: float = 0.15


Row = dict[str, str | float]


def bench_rows(truth: Truth, *, seed: int, gaps_mm: tuple[float, ...] = (25.0, 32.0, 40.0, 55.0)) -> list[Row]:
    """A bench's table: open path, films at both gains, blocked path, emitter off, and the ends of the scale."""
    return list(_rows(truth, np.random.default_rng(seed), gaps_mm))


def _rows(truth: Truth, random: np.random.Generator, gaps_mm: tuple[float, ...]) -> Iterator[Row]:
    gap, bottom_db = truth.reference_gap_mm, TOP_DB - truth.span_db
    for one in gaps_mm:
        yield _row(truth, random, "open", one, "least", attenuation_db=0.0)
    for thickness_um in FILMS_UM:
        film: Row = {"material": "pet", "thickness_um": thickness_um}
        for gain in ("least", "greatest"):
            yield _row(truth, random, "sheet", gap, gain, attenuation_db=mass_law_db(truth, thickness_um)) | film
    for _ in range(8):
        yield _row(truth, random, "blocked", gap, "greatest", attenuation_db=math.inf)
    for _ in range(24):
        yield _row(truth, random, "silent", gap, "greatest", attenuation_db=math.inf, sounding=False)
    yield {"state": "silent", "level_db": bottom_db, "gap_mm": gap, "gain": "least", "limit": "bottom"}


def mass_law_db(truth: Truth, thickness_um: float) -> float:
    """Attenuation of a film by the mass law."""
    air = humid_air()
    impedance = air.density_kg_m3 * air.sound_speed_m_per_s
    ratio = 2.0 * math.pi * truth.frequency_hz * PET_KG_M3 * thickness_um * 1e-6 / (2.0 * impedance)
    return 10.0 * math.log10(1.0 + ratio**2)


def _row(
    truth: Truth,
    random: np.random.Generator,
    state: str,
    gap_mm: float,
    gain: str,
    *,
    attenuation_db: float,
    sounding: bool = True,
) -> Row:
    air = humid_air()
    open_db = float(
        open_path_db(
            wavenumber_per_m=2.0 * math.pi * truth.frequency_hz / air.sound_speed_m_per_s,
            radius_m=truth.face_radius_mm * 1e-3,
            gap_m=gap_mm * 1e-3,
            reference_gap_m=truth.reference_gap_mm * 1e-3,
            absorption_db_per_m=float(absorption_db_per_m(frequency_hz=truth.frequency_hz, air=air)),
        )
    )
    turned = np.exp(2j * np.pi * random.uniform())
    signal = 10.0 ** (0.05 * (open_db - attenuation_db)) + turned * 10.0 ** (-0.05 * truth.bypass_db)
    noise = (random.normal() + 1j * random.normal()) / math.sqrt(2.0) * 10.0 ** (-0.05 * truth.noise_db)
    level_db = 20.0 * math.log10(abs(sounding * signal + noise)) + TOP_DB + truth.overload_db
    level_db += (truth.gain_range_db if gain == "greatest" else 0.0) + random.normal(0.0, truth.reading_db)
    row: Row = {"state": state, "level_db": round(level_db, 1), "gap_mm": gap_mm, "gain": gain}
    if level_db >= TOP_DB:
        row |= {"level_db": TOP_DB, "limit": "top"}
    elif level_db <= TOP_DB - truth.span_db:
        row |= {"level_db": TOP_DB - truth.span_db, "limit": "bottom"}
    return row
