"""Sound through the sheet: attenuation from the open path, in dB.

The level of one sheet and of two comes from the plane-wave response of the sheet through the finite beam; bounces
between faces and sheet, trapped air, mass, formation, flutter, drift and air make its spread; bypass and noise limit
what can be read.
"""

from __future__ import annotations

import numpy as np

from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.principles.base import Bench, Fact
from sheetmargin_service.prediction.principles.ultrasonic.bench import GRID, UltrasonicBench
from sheetmargin_service.prediction.principles.ultrasonic.pair import pair_in_air

LEAST_CLEARANCE_MM = 3.0
"""Least way from a face's rim to the sheet beyond its flutter (a choice: a crumpled sheet must not touch)."""


class Ultrasonic:
    """The principle: every class of it works in the same way."""

    id = "ultrasonic"
    quantity = "attenuation"
    unit = "dB"
    band_step = 1
    grid = GRID

    def bench(self, detector_class: DetectorClass, conditions: Conditions) -> Bench | Fact:
        p = detector_class.parameters
        assert isinstance(p, UltrasonicParameters)
        pair = pair_in_air(p, conditions.mean_air())
        angle = np.radians(pair.tilt_deg)
        face, rim = 0.5 * pair.gap_mm * np.cos(angle), p.face_radius_mm * np.sin(angle)
        fits = (pair.tilt_deg <= conditions.max_tilt_deg) & (face - rim >= conditions.flutter_mm + LEAST_CLEARANCE_MM)
        for clearance in (conditions.clearance_above_mm, conditions.clearance_below_mm):
            if clearance is not None:
                fits &= face + rim <= clearance
        if not fits.any():
            return Fact(
                code="does-not-fit",
                values={
                    "gap_min_mm": p.gap_min_mm,
                    "clearance_above_mm": conditions.clearance_above_mm,
                    "clearance_below_mm": conditions.clearance_below_mm,
                },
            )
        return UltrasonicBench(
            detector_class=detector_class, pair=pair, conditions=conditions, keep=np.flatnonzero(fits)
        )


PRINCIPLE = Ultrasonic()
