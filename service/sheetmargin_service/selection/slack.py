"""How exactly a pair is set by hand, and whether its window leaves room for that."""

from __future__ import annotations

from dataclasses import replace
from math import degrees

import numpy as np
from sheetmargin.contract.mounting import Alignment

from sheetmargin_service.mounting.alignment import align
from sheetmargin_service.principles.gap_limits import ALIGNED_HALF_ANGLES, GAP_SET_MM
from sheetmargin_service.principles.protocol import Fact, Scalar
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.search import NO_SLACK, Choice, Slack


def alignment_of(class_result: ClassResult, choice: Choice) -> Alignment | None:
    """How well the faces of a pair must be aligned; None for one without a beam of sound."""
    if class_result.sound_beam is None:
        return None
    tilt = choice.tilt.nominal if choice.tilt else 0.0
    return align(gap_mm=choice.gap.nominal, tilt_deg=tilt, beam=class_result.sound_beam)


def slack_of(class_result: ClassResult) -> Slack:
    """What setting the pair by hand leaves of gap and tilt, as near as a search need know it; nothing of heads whose
    bracket gives their gap, and of the tilt of a pair that the line keeps square on."""
    if class_result.sound_beam is None:
        return NO_SLACK
    settings, half_angle_deg = class_result.class_model.settings, degrees(class_result.sound_beam.half_angle_rad)
    return Slack(
        gap_mm=GAP_SET_MM if np.ptp(settings.gap_mm) > 0.0 else 0.0,
        tilt_deg=ALIGNED_HALF_ANGLES * half_angle_deg if settings.tilt_deg.any() else 0.0,
    )


def too_narrow(class_result: ClassResult, choice: Choice, alignment: Alignment | None) -> Fact | None:
    """What of a pair that is aligned by hand cannot be set as exactly as its window asks; None where all can.

    The procedure leaves a face within the angle that costs 1 dB, and a rule a gap within a millimetre, either way: the
    setting keeps that from the ends of its window on both sides. A window that reaches square on has no end there, as a
    pair may lean either way; one that the line keeps square on has no window of tilts. Heads whose gap their bracket
    gives are not set, nor is a pair that is installed.
    """
    if alignment is None or choice.tilt is None or choice.installed:
        return None
    slack, room = slack_of(class_result), choice.room
    if slack.tilt_deg:
        slack = replace(slack, tilt_deg=alignment.angle_deg_1db)
    if room.holds(slack):
        return None
    values: dict[str, Scalar] = {
        "tilt_deg": round(room.tilt_deg, 1),
        "tilt_left_deg": round(slack.tilt_deg, 1),
        "gap_mm": round(room.gap_mm, 1),
        "gap_left_mm": slack.gap_mm,
    }
    return Fact(code="window-too-narrow", values=values)
