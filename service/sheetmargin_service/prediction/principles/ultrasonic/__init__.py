"""Sound through the sheet: attenuation from the open path, in dB.

The level of one sheet and of two comes from the plane-wave response of the sheet through the finite beam; bounces
between faces and sheet, trapped air, mass, formation, flutter, drift and air make its spread; bypass and noise limit
what can be read.
"""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.principles.base import Asked, Bench, Detail, Fact
from sheetmargin_service.prediction.principles.ultrasonic.bench import UltrasonicBench
from sheetmargin_service.prediction.principles.ultrasonic.fleet import Look, fleet_under
from sheetmargin_service.prediction.principles.ultrasonic.spreads import GRID


class Ultrasonic:
    """The principle: every class of it works in the same way."""

    id = "ultrasonic"
    quantity = "attenuation"
    unit = "dB"
    depends_on: tuple[str, ...] = ()
    band_step = 1
    grid = GRID

    def bench(self, detector_class: DetectorClass, conditions: Conditions) -> Bench | Fact:
        return self.benches([detector_class], conditions)[0]

    def benches(self, detector_classes: Sequence[DetectorClass], conditions: Conditions) -> list[Bench | Fact]:
        parameters = tuple(c.parameters for c in detector_classes if isinstance(c.parameters, UltrasonicParameters))
        fleet, looks = fleet_under(parameters, conditions), dict[int, Look]()
        return [
            UltrasonicBench(detector_class=c, fleet=fleet, place=place, looks=looks)
            for place, c in enumerate(detector_classes)
        ]

    def details(self, asked: Sequence[Asked]) -> list[Detail]:
        if not asked:
            return []
        own = [(bench, sheet, setting) for bench, sheet, setting in asked if isinstance(bench, UltrasonicBench)]
        return own[0][0].fleet.details([(bench.look(sheet), bench.place_of(setting)) for bench, sheet, setting in own])


PRINCIPLE = Ultrasonic()
