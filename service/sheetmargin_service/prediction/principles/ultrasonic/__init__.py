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


class Ultrasonic:
    """The principle: every class of it works in the same way."""

    id = "ultrasonic"
    quantity = "attenuation"
    unit = "dB"
    depends_on: tuple[str, ...] = ()
    band_step = 1
    grid = GRID

    def bench(self, detector_class: DetectorClass, conditions: Conditions) -> Bench | Fact:
        p = detector_class.parameters
        assert isinstance(p, UltrasonicParameters)
        pair = pair_in_air(p, conditions.mean_air())
        tilted = np.flatnonzero(pair.tilt_deg <= conditions.max_tilt_deg)
        return UltrasonicBench(detector_class=detector_class, pair=pair, conditions=conditions, keep=tilted)


PRINCIPLE = Ultrasonic()
