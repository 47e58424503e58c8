"""What helps against a cause, with the numbers of this machine."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.mounting import Mounting
from sheetmargin.contract.notes import Note, Scalar

from sheetmargin_service.acoustics.standing_waves import ripple_db
from sheetmargin_service.measurement.faults import Fault, Setting
from sheetmargin_service.measurement.machine import Machine
from sheetmargin_service.mounting.alignment import align
from sheetmargin_service.mounting.crosstalk import least_pitch_mm, turns
from sheetmargin_service.principles.ultrasonic import PRINCIPLE as ULTRASONIC
from sheetmargin_service.principles.ultrasonic.levels import levels_of
from sheetmargin_service.principles.ultrasonic.pair import pair_at

Array = NDArray[np.float64]
TILT_STEP_DEG = 3.0
CALM_DB = 1.5
"""A ripple that need not be smaller."""
MOST_BOUNCE = 0.95

Maker = Callable[[Setting, Mounting | None, Fault], Note]


def remedy(setting: Setting, mounting: Mounting | None, likeliest: Fault) -> Note:
    """The remedy of a cause in its likeliest case."""
    return MAKERS[likeliest.cause](setting, mounting, likeliest)


def _note(code: str, fault: Fault, **more: Scalar) -> Note:
    return Note(code=code, values={**fault.values, **more})


def _profile(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    healthy = setting.machine.healthy
    return Note(code="remedy-profile-back", values={"band_low": healthy.low, "band_high": healthy.high, "unit": "dB"})


def _gap(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    moved = fault.scenario.sound.single_db + fault.scenario.loss_db - setting.machine.healthy.sound.single_db
    return _note("remedy-gap", fault, stated_mm=setting.machine.gap_mm, move_db=round(abs(moved), 1))


def _align(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    limits = align(gap_mm=setting.machine.gap_mm, tilt_deg=setting.machine.tilt_deg, beam=setting.beam)
    return _note(
        "remedy-align",
        fault,
        lateral_mm=round(limits.lateral_mm_1db, 1),
        angle_deg=round(limits.angle_deg_1db, 1),
    )


def _calm(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    """The least tilt that calms the standing waves."""
    machine = setting.machine
    tilts, single, bounce = _over_tilt(machine)
    now = int(np.argmin(np.abs(tilts - machine.tilt_deg)))
    swing = 2.0 * ripple_db(np.minimum(fault.scenario.bounce * bounce / bounce[now], MOST_BOUNCE))
    calm = np.flatnonzero((tilts > machine.tilt_deg) & (swing <= CALM_DB))
    best = int(calm[0]) if len(calm) else int(np.argmin(swing))
    return Note(
        code="remedy-tilt-calms",
        values={
            "tilt_deg": float(tilts[best]),
            "ripple_before_db": round(float(swing[now]), 1),
            "ripple_after_db": round(float(swing[best]), 1),
            "gain_db": round(float(single[now] - single[best]), 1),
        },
    )


def _overload(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    machine = setting.machine
    most = ULTRASONIC.gap_limits_mm(machine.parameters)[1]
    here, there = (machine.pair(gap_mm=g, tilt_deg=machine.tilt_deg) for g in (machine.gap_mm, most))
    return _note(
        "remedy-overload",
        fault,
        single_db=round(machine.healthy.sound.single_db, 1),
        gap_mm=most,
        gain_db=round(float(here.open_db[0] - there.open_db[0]), 1),
    )


def _floor(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    """The tilt at which one sheet is loudest."""
    tilts, single, _bounce = _over_tilt(setting.machine)
    best = int(np.argmin(np.round(single, 1)))
    return _note(
        "remedy-tilt-louder",
        fault,
        tilt_deg=float(tilts[best]),
        gain_db=round(max(setting.machine.healthy.sound.single_db - float(single[best]), 0.0), 1),
        single_db=round(setting.machine.healthy.sound.single_db, 1),
    )


def _edge(setting: Setting, mounting: Mounting | None, fault: Fault) -> Note:
    least = mounting.distances.edge_least_mm if mounting and mounting.distances else None
    return _note(
        "remedy-edge" if least is not None else "remedy-edge-unknown",
        fault,
        edge_least_mm=None if least is None else round(least, 0),
        single_db=round(setting.machine.healthy.sound.single_db, 1),
    )


def _flutter(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    conditions = setting.machine.conditions
    return _note("remedy-flutter", fault, flutter_mm=conditions.flutter_mm, flutter_deg=conditions.flutter_deg)


def _static(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    return _note(
        "remedy-static",
        fault,
        double_before_db=round(fault.scenario.double.median, 1),
        double_after_db=round(setting.machine.healthy.double.median, 1),
    )


def _hold(code: str, limit: str) -> Maker:
    def note(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
        known = getattr(setting.timing, limit)
        if known is None:
            return Note(code=f"{code}-unknown", values={})
        return Note(code=code, values={"limit_ms": round(known, 1), "hold_ms": setting.hold_ms})

    return note


def _neighbour(setting: Setting, _: Mounting | None, fault: Fault) -> Note:
    line, machine = setting.line, setting.machine
    least = least_pitch_mm(
        gap_mm=machine.gap_mm,
        beam=setting.beam,
        body_diameter_mm=2.0 * machine.parameters.face_radius_mm,
        neighbours=2 if line.lanes > 2 else 1,
    )
    return _note(
        "remedy-neighbour",
        fault,
        least_pitch_mm=round(least, 0),
        time_slots=turns(lanes=line.lanes, pitch_mm=line.lane_pitch_mm, least_mm=least),
    )


def _plain(code: str) -> Maker:
    return lambda setting, mounting, fault: _note(code, fault)


MAKERS: Mapping[str, Maker] = {
    "wrong-profile": _profile,
    "gap": _gap,
    "misalignment": _align,
    "standing-wave": _calm,
    "overload": _overload,
    "near-floor": _floor,
    "edge-bypass": _edge,
    "humidity": _plain("remedy-humidity"),
    "flutter": _flutter,
    "curl": _plain("remedy-curl"),
    "static-or-blocking": _static,
    "hold-too-short": _hold("remedy-hold-longer", "hold_min_ms"),
    "hold-too-long": _hold("remedy-hold-shorter", "hold_max_ms"),
    "neighbour": _neighbour,
    "dirty-face": _plain("remedy-clean"),
}


def _over_tilt(machine: Machine) -> tuple[Array, Array, Array]:
    """One sheet's attenuation, and the bounce off a face and a sheet that send all back, over the tilts that there is
    room for, at the machine's gap."""
    greatest = min(machine.conditions.max_tilt_deg, ULTRASONIC.greatest_tilt_deg(machine.parameters))
    tilts = np.unique([*np.arange(0.0, greatest + 0.1, TILT_STEP_DEG), machine.tilt_deg])
    pair = pair_at(
        machine.parameters,
        machine.conditions.mean_air(),
        gap_mm=(machine.gap_mm,),
        tilt_deg=tuple(float(t) for t in tilts),
    )
    single = levels_of(machine.sheet, pair).single().attenuation_db[0].mean(axis=0)
    return tilts, single, np.abs(pair.bounce)
