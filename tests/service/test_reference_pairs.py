"""The figures of the ultrasonic reference classes, from the rules at the head of their table.

The head tells each rule in words; here it is computed, so that table and rules cannot part. No sheet has a say.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.constants import Boltzmann
from scipy.optimize import brentq
from sheetmargin_service.acoustics.air import absorption_db_per_m, humid_air
from sheetmargin_service.acoustics.beam import open_path_coupling
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.ultrasonic.pair import pair_at
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters

AIR = humid_air()
CLASSES = {c.id: c for c in reference_catalogue().classes if c.principle == "ultrasonic"}
GATED = {name: c for name, c in CLASSES.items() if c.parameters.drive == "gated"}
STEADY = {name: c for name, c in CLASSES.items() if c.parameters.drive == "continuous"}
FIXED = {name: c for name, c in CLASSES.items() if c.demands.gap_set_by == "fixture"}

BANDWIDTH = 0.175
"""The middle of 15 to 20 % (Alvarez-Arenas, IEEE UFFC 51, 624, 2004)."""
RINGING_UP = 3.89
"""Time constants after which two resonators in a row have rung up to 90 %: 1 - (1 + x) e^-x."""
INSERTION_LOSS_DB, DB_PER_OCTAVE = 24.0, 7.8
"""Both ways at 0.45 MHz, and how it grows: to 33 dB at 1 MHz (the same, and the later figures of the author)."""
ISOLATION_DB = 110.0
COST_DB = 10.0
COLDER_K = 20.0
STEADY_BANDWIDTH_HZ = 2e3
SEALED_DB = 4.0


def of(c: DetectorClass) -> UltrasonicParameters:
    assert isinstance(c.parameters, UltrasonicParameters)
    return c.parameters


def cost_db(p: UltrasonicParameters, gap_m: float) -> float:
    """What divergence and absorption take of the open path, from faces that touch."""
    wavenumber = 2.0 * np.pi * p.frequency_hz / AIR.sound_speed_m_per_s
    coupling = open_path_coupling(wavenumber_per_m=wavenumber, radius_m=1e-3 * p.face_radius_mm, gap_m=gap_m)
    absorbed = float(absorption_db_per_m(frequency_hz=p.frequency_hz, air=AIR)) * gap_m
    return absorbed - 20.0 * float(np.log10(abs(complex(coupling))))


def near_field_mm(p: UltrasonicParameters) -> float:
    return 1e-3 * p.face_radius_mm**2 * p.frequency_hz / AIR.sound_speed_m_per_s


def gate_us(p: UltrasonicParameters) -> float:
    return RINGING_UP / (np.pi * p.bandwidth_hz) * 1e6


def rung_up(time_constants: float) -> float:
    return float(1.0 - (1.0 + time_constants) * np.exp(-time_constants))


def share_of_gate_for_1_db() -> float:
    """How late sound may come, as a share of the gate, that its ring-up has lost 1 dB at the gate's end."""
    whole = rung_up(RINGING_UP)
    return 1.0 - brentq(lambda x: rung_up(x) / whole - 10.0**-0.05, 1.0, RINGING_UP) / RINGING_UP


def gaps_mm(p: UltrasonicParameters) -> tuple[float, float]:
    """Least and greatest gap, to the millimetre."""
    near = 1e-3 * near_field_mm(p)
    most = brentq(lambda gap: cost_db(p, gap) - COST_DB, near, 2.0)
    if p.drive == "continuous":
        return float(np.ceil(1e3 * near)), float(np.floor(1e3 * most))
    gate_m = 1e-6 * gate_us(p) * AIR.sound_speed_m_per_s
    cold = humid_air(temperature_c=20.0 - COLDER_K).sound_speed_m_per_s
    later = AIR.sound_speed_m_per_s / cold - 1.0
    kept = share_of_gate_for_1_db() * gate_m / later
    return float(np.ceil(1e3 * gate_m)), float(np.floor(1e3 * min(most, kept)))


def noise_db(c: DetectorClass) -> float:
    p = of(c)
    drive, noise = (250.0, 0.3e-3) if "high-output" in c.id else (60.0, 0.6e-3)
    if p.drive == "continuous":
        gated = replace(p, bandwidth_hz=BANDWIDTH * p.frequency_hz)
        drive *= np.sqrt(1e-3 * gate_us(gated) / burst_interval_ms(c))
        noise *= np.sqrt(p.bandwidth_hz / gated.bandwidth_hz)
    lost = DB_PER_OCTAVE * max(0.0, np.log2(p.frequency_hz / 180e3)) + SEALED_DB * c.id.endswith("sealed")
    return float(np.round(20.0 * np.log10(drive / noise) - lost))


def burst_interval_ms(c: DetectorClass) -> float:
    """Of the gated class of the nearest frequency, whose mean power a steady tone has."""
    nearest = min(GATED.values(), key=lambda one: abs(of(one).frequency_hz - of(c).frequency_hz))
    return of(nearest).reading_interval_ms


@pytest.mark.parametrize("name", GATED)
def test_bandwidth_and_gate_are_those_of_a_matched_pair(name: str) -> None:
    p = of(GATED[name])
    assert p.bandwidth_hz == pytest.approx(BANDWIDTH * p.frequency_hz, rel=0.01)
    assert p.gate_us == round(gate_us(p))
    assert rung_up(RINGING_UP) == pytest.approx(0.9, abs=1e-3)


@pytest.mark.parametrize("name", CLASSES)
def test_gaps_follow_from_gate_beam_and_air(name: str) -> None:
    p, (least, most) = of(CLASSES[name]), gaps_mm(of(CLASSES[name]))
    if name in FIXED:
        assert least <= p.gap_min_mm == p.gap_max_mm <= most
    else:
        assert (p.gap_min_mm, p.gap_max_mm) == (least, most)


@pytest.mark.parametrize("name", sorted(GATED.keys() - FIXED.keys()))
def test_at_the_least_gap_no_bounce_comes_within_the_gate(name: str) -> None:
    """By the model that reads them, not by the rule."""
    p = of(GATED[name])
    pair = pair_at(p, AIR, gap_mm=(p.gap_min_mm, 0.7 * p.gap_min_mm), tilt_deg=(0.0,))
    assert pair.rigid_bounce[0] < 0.01 < pair.rigid_bounce[1]


@pytest.mark.parametrize("name", CLASSES)
def test_noise_is_that_of_the_drive_and_above_that_of_heat(name: str) -> None:
    c, p = CLASSES[name], of(CLASSES[name])
    assert p.noise_db == noise_db(c)
    # What a face that loses half of the insertion loss makes of the thermal noise k T B, with 6 dB of an amplifier.
    lost_db = 0.5 * (INSERTION_LOSS_DB + DB_PER_OCTAVE * max(0.0, np.log2(p.frequency_hz / 450e3))) + 6.0
    area = np.pi * (1e-3 * p.face_radius_mm) ** 2
    power = Boltzmann * 293.15 * p.bandwidth_hz * 10.0 ** (0.1 * lost_db)
    of_heat_pa = np.sqrt(power * AIR.impedance_pa_s_per_m / area)
    drive_pa = 250.0 if "high-output" in name else 60.0
    assert drive_pa * 10.0 ** (-0.05 * p.noise_db) > of_heat_pa


def test_receivers_of_high_output_limit_softly() -> None:
    assert {name for name, c in CLASSES.items() if of(c).limiting == "soft"} == {
        name for name in CLASSES if "high-output" in name
    }


def test_what_goes_round_the_sheet_knows_no_drive() -> None:
    """Louder or not, the same body at the same frequency has the same bypass."""
    by_body: dict[tuple[float, str], set[float]] = {}
    for c in CLASSES.values():
        by_body.setdefault((of(c).frequency_hz, c.housing.thread), set()).add(of(c).bypass_db)
    assert all(len(bypasses) == 1 for bypasses in by_body.values())
    assert by_body[180e3, "M18"] == by_body[75e3, "rectangular"]


@pytest.mark.parametrize("name", STEADY)
def test_a_steady_tone_hears_its_crosstalk(name: str) -> None:
    p = of(STEADY[name])
    assert p.crosstalk_db == ISOLATION_DB - INSERTION_LOSS_DB
    pair = pair_at(p, AIR, gap_mm=(p.reference_gap_mm,), tilt_deg=(0.0,))
    together = -10.0 * np.log10(10.0 ** (-0.1 * p.bypass_db) + 10.0 ** (-0.1 * p.crosstalk_db))
    assert pair.bypass_db[0] == pytest.approx(together, abs=0.01)


def test_a_gate_keeps_crosstalk_out_from_its_least_distance_on() -> None:
    p = of(CLASSES["ultrasonic-180k"])
    loud = replace(p, crosstalk_db=60.0, gap_min_mm=5.0)
    pair = pair_at(loud, AIR, gap_mm=(7.0, p.gap_min_mm, 45.0), tilt_deg=(0.0,))
    near, least, far = pair.bypass_db - pair.open_db
    assert near < 70.0
    assert (least, far) == pytest.approx((p.bypass_db, p.bypass_db), abs=0.01)
