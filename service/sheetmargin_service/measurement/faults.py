"""What may be wrong with a machine, each as a scenario of it: one entry of the table and one function a cause."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from sheetmargin.contract.job import Line
from sheetmargin.contract.mounting import Timing
from sheetmargin.contract.notes import Scalar

from sheetmargin_service.measurement.machine import Machine, Scenario
from sheetmargin_service.measurement.scaling import scaled
from sheetmargin_service.mounting.crosstalk import neighbour_level_db
from sheetmargin_service.principles.sound_beam import SoundBeam
from sheetmargin_service.principles.ultrasonic import PRINCIPLE as ULTRASONIC
from sheetmargin_service.tables import load_table


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What faults need to know of the machine beside its sound. `overload_db`: where its receiver leaves overload at
    the least gain."""

    machine: Machine
    line: Line
    timing: Timing
    hold_ms: float | None
    beam: SoundBeam
    overload_db: float


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One case of a cause. `prior` is its own share of belief; `shows` what tests made for single causes would show, by
    the test's code (dB, mm or per cent); `values` what a text may state."""

    cause: str
    prior: float
    scenario: Scenario
    shows: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, Scalar] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class _Case:
    scenario: Scenario
    shows: Mapping[str, float] = field(default_factory=dict)
    values: Mapping[str, Scalar] = field(default_factory=dict)
    weight: float = 1.0


Maker = Callable[[Setting, float], _Case | None]
"""The machine with a cause of one severity, or None where it has no such cause."""

LIKELIER = 5.0
"""How much likelier a hold is at fault where the times of the line say so, and less likely where they say it is not."""
CROSSTALK_DB = 50.0
"""How far a neighbour lies below the open path where the lanes' pitch is not known (typical, from memory)."""
LOOSE_SHARE = 0.5
"""Share of the doubles of curled sheets that lie loose (a choice)."""


def faults(setting: Setting) -> tuple[Fault, ...]:
    """Every cause that the machine may have, in all its cases; the priors sum to 1."""
    found = []
    for cause, (prior, severities) in _table().items():
        cases = [(severity, MAKERS[cause](setting, severity)) for severity in severities]
        for _, case in cases:
            if case is not None:
                found.append(
                    Fault(
                        cause=cause,
                        prior=prior * case.weight / len(severities),
                        scenario=case.scenario,
                        shows=case.shows,
                        values=case.values,
                    )
                )
    total = sum(fault.prior for fault in found)
    return tuple(replace(fault, prior=fault.prior / total) for fault in found)


@cache
def _table() -> Mapping[str, tuple[float, tuple[float, ...]]]:
    """Prior and severities of each cause."""
    return {
        cause: (float(entry["prior"]), tuple(float(x) for x in next(iter(entry["severity"].values()))))
        for cause, entry in load_table(__package__, "data/causes.toml").items()
    }


def _as_computed(setting: Setting, _: float) -> _Case:
    return _Case(scenario=setting.machine.healthy)


def _wrong_profile(setting: Setting, band_db: float) -> _Case:
    healthy = setting.machine.healthy
    low, high = healthy.low + band_db, healthy.high + band_db
    return _Case(
        scenario=replace(healthy, low=low, high=high),
        shows={"read-profile": band_db},
        values={"band_low": round(low), "band_high": round(high), "band_db": band_db},
    )


def _gap(setting: Setting, gap_pct: float) -> _Case | None:
    machine = setting.machine
    least, most = ULTRASONIC.gap_limits_mm(machine.parameters)
    gap = float(np.clip(machine.gap_mm * (1.0 + gap_pct / 100.0), least, most))
    off = gap - machine.gap_mm
    if abs(off) < 0.5:
        return None
    before, now = (machine.pair(gap_mm=g, tilt_deg=machine.tilt_deg) for g in (machine.gap_mm, gap))
    sound = machine.sound(gap_mm=gap)
    return _Case(
        scenario=replace(machine.healthy, sound=sound, loss_db=float(before.open_db[0] - now.open_db[0])),
        shows={"measure-gap": off},
        values={"gap_mm": round(gap, 1), "gap_off_mm": round(off, 1)},
    )


def _misalignment(setting: Setting, loss_db: float) -> _Case:
    return _Case(
        scenario=replace(setting.machine.healthy, loss_db=loss_db),
        shows={"realign": loss_db},
        values={"loss_db": loss_db},
    )


def _standing_wave(setting: Setting, face_reflection: float) -> _Case:
    """Every bounce is let in, and the faces send back more than the class's."""
    machine = setting.machine
    ringing = replace(machine.parameters, face_reflection=face_reflection, gate_us=None)
    pair = replace(machine.pair(gap_mm=machine.gap_mm, tilt_deg=machine.tilt_deg), parameters=ringing)
    bounce = float(pair.rigid_bounce[0])
    return _Case(
        scenario=replace(machine.healthy, bounce=bounce, open_bounce=float(pair.open_bounce[0])),
        values={"ripple_db": round(float(20.0 * np.log10((1.0 + bounce) / max(1.0 - bounce, 0.05))), 1)},
    )


def _overload(setting: Setting, gain_db: float) -> _Case:
    """The receiver's gain so much above the least: what is stronger reads all alike."""
    overload = max(setting.overload_db, 0.0) + gain_db
    return _Case(
        scenario=replace(setting.machine.healthy, overload_db=overload), values={"overload_db": round(overload, 1)}
    )


def _near_floor(setting: Setting, noise_db: float) -> _Case:
    healthy = setting.machine.healthy
    floor = healthy.noise_db - noise_db
    return _Case(scenario=replace(healthy, noise_db=floor), values={"floor_db": round(floor, 1)})


def _edge_bypass(setting: Setting, bypass_db: float) -> _Case:
    healthy = setting.machine.healthy
    floor = healthy.bypass_db - bypass_db
    return _Case(scenario=replace(healthy, bypass_db=floor), values={"floor_db": round(floor, 1)})


def _humidity(setting: Setting, moisture_pct: float) -> _Case | None:
    """A sheet that takes up water gets heavier; where none of its materials does there is no such cause."""
    machine = setting.machine
    if not any(layer.material and layer.material.electrical.moisture_content_pct for layer in machine.sheet.layers):
        return None
    healthy = machine.healthy
    sound = machine.sound(scaled(machine.sheet, 1.0 + moisture_pct / 100.0))
    moved = sound.single_db - healthy.sound.single_db
    doubled = float(sound.weights @ sound.double_db - healthy.sound.weights @ healthy.sound.double_db)
    return _Case(
        scenario=replace(healthy, sound=sound).with_moves(temperature=(abs(moved), abs(doubled))),
        shows={"condition-sheets": moved},
        values={"moisture_pct": moisture_pct, "move_db": round(moved, 1)},
    )


def _flutter(setting: Setting, times: float) -> _Case:
    healthy = setting.machine.healthy
    single, double = (times * move for move in healthy.moves["speed"])
    return _Case(
        scenario=healthy.with_moves(speed=(single, double), time=(0.5 * single, 0.5 * double)),
        shows={"guide-flat": single},
        values={"sigma_db": round(single, 1), "times": times},
    )


def _curl(setting: Setting, curl_deg: float) -> _Case:
    """The sheet leans away from how it should run, and doubles lie loose."""
    machine = setting.machine
    air = machine.sheet.trapped_air
    loose = replace(machine.sheet, trapped_air=replace(air, loose_share=max(air.loose_share, LOOSE_SHARE)))
    tilt = machine.tilt_deg + curl_deg
    sound = machine.sound(loose, tilt_deg=tilt)
    moved = abs(sound.single_db - machine.healthy.sound.single_db)
    return _Case(
        scenario=replace(machine.healthy, sound=sound).with_moves(sheet=(moved, moved), position=(moved, moved)),
        shows={"guide-flat": moved},
        values={"curl_deg": curl_deg, "move_db": round(moved, 1)},
    )


def _static(setting: Setting, air_factor: float) -> _Case | None:
    """Sheets that cling to each other hold less air; bonded and wet ones hold none as they are."""
    machine = setting.machine
    if machine.sheet.contact in ("bonded", "water-film"):
        return None
    air = machine.sheet.trapped_air
    thin = replace(
        air,
        p5_um=air.p5_um * air_factor,
        p50_um=air.p50_um * air_factor,
        p95_um=air.p95_um * air_factor,
        loose_share=air.loose_share * air_factor,
        # Two that block come nearer than their rough faces hold others apart.
        least_um=air.least_um * air_factor,
    )
    sound = machine.sound(replace(machine.sheet, trapped_air=thin))
    return _Case(
        scenario=replace(machine.healthy, sound=sound),
        values={"p50_um": round(thin.p50_um, 1), "usual_um": round(air.p50_um, 1)},
    )


def _hold_too_short(setting: Setting, missed_share: float) -> _Case:
    timing, hold = setting.timing, setting.hold_ms
    short = None if hold is None or timing.hold_min_ms is None else hold < timing.hold_min_ms
    return _Case(
        scenario=replace(setting.machine.healthy, missed=missed_share),
        shows={"watch-controller": 100.0 * missed_share, "run-slowly": 0.0},
        weight=1.0 if short is None else LIKELIER if short else 1.0 / LIKELIER,
    )


def _hold_too_long(setting: Setting, stopped_share: float) -> _Case:
    timing, hold = setting.timing, setting.hold_ms
    long = None if hold is None or timing.hold_max_ms is None else hold > timing.hold_max_ms
    return _Case(
        scenario=replace(setting.machine.healthy, stopped=stopped_share),
        shows={"run-slowly": 100.0},
        weight=1.0 if long is None else LIKELIER if long else 1.0 / LIKELIER,
    )


def _neighbour(setting: Setting, off_db: float) -> _Case | None:
    """Sound of the next lane's pair: computed where the pitch is known, and so much weaker than that."""
    line, machine = setting.line, setting.machine
    heard = CROSSTALK_DB
    if line.lanes == 1:
        return None
    if line.lane_pitch_mm is not None:
        heard = -neighbour_level_db(
            pitch_mm=line.lane_pitch_mm,
            gap_mm=machine.gap_mm,
            beam=setting.beam,
            neighbours=2 if line.lanes > 2 else 1,
        )
    crosstalk = max(heard + off_db, 1.0)
    return _Case(
        scenario=replace(machine.healthy, crosstalk_db=crosstalk),
        values={"crosstalk_db": round(crosstalk, 1)},
    )


def _dirty_face(setting: Setting, loss_db: float) -> _Case:
    return _Case(
        scenario=replace(setting.machine.healthy, loss_db=loss_db),
        shows={"clean-faces": loss_db},
        values={"loss_db": loss_db},
    )


MAKERS: Mapping[str, Maker] = {
    "as-computed": _as_computed,
    "wrong-profile": _wrong_profile,
    "gap": _gap,
    "misalignment": _misalignment,
    "standing-wave": _standing_wave,
    "overload": _overload,
    "near-floor": _near_floor,
    "edge-bypass": _edge_bypass,
    "humidity": _humidity,
    "flutter": _flutter,
    "curl": _curl,
    "static-or-blocking": _static,
    "hold-too-short": _hold_too_short,
    "hold-too-long": _hold_too_long,
    "neighbour": _neighbour,
    "dirty-face": _dirty_face,
}
