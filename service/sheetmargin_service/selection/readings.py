"""How often a pair reads a sheet that passes, and over what length of it."""

from __future__ import annotations

from math import ceil

from sheetmargin.contract.mounting import Timing

from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.mounting.crosstalk import least_pitch_mm, turns
from sheetmargin_service.mounting.geometry import footprint_on_sheet
from sheetmargin_service.mounting.timing import Reading
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.misreads import Readings
from sheetmargin_service.selection.search import Choice


def reading_of(class_result: ClassResult, choice: Choice) -> Reading:
    p, beam, line = class_result.detector_class.parameters, class_result.sound_beam, class_result.resolved_job.job.line
    if beam is None:
        width = class_result.detector_class.housing.width_mm
        return Reading(interval_ms=p.reading_interval_ms, response_ms=p.response_ms, spot_mm=width)
    gap = choice.gap.nominal
    footprint = footprint_on_sheet(
        distance_mm=0.5 * gap,
        tilt_deg=choice.tilt.nominal if choice.tilt else 0.0,
        beam=beam,
        flutter_mm=class_result.resolved_job.conditions.flutter_mm,
    )
    taking_turns = 1
    if line.lanes > 1:
        width = class_result.detector_class.housing.width_mm
        neighbours = 2 if line.lanes > 2 else 1
        least = least_pitch_mm(gap_mm=gap, beam=beam, body_diameter_mm=width, neighbours=neighbours)
        taking_turns = turns(lanes=line.lanes, pitch_mm=line.lane_pitch_mm, least_mm=least)
    return Reading(
        interval_ms=p.reading_interval_ms,
        response_ms=p.response_ms,
        spot_mm=footprint.along_mm,
        turns=taking_turns,
    )


def readings_of(detector_class: DetectorClass, timing: Timing) -> Readings:
    """Readings in a sheet and in a space; where the line is not known, as many as one decision takes."""
    p = detector_class.parameters
    run = max(1, ceil(p.response_ms / p.reading_interval_ms))
    single, double = timing.readings_per_sheet, timing.readings_per_double
    return Readings(
        single=run if single is None else single,
        double=run if double is None else double,
        no_sheet=run if timing.readings_per_space is None else timing.readings_per_space,
        run=run,
    )
