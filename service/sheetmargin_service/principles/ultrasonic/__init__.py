"""Sound through the sheet: attenuation from the open path, in dB.

The level of one sheet and of two comes from the plane-wave response of the sheet through the finite beam; bounces
between faces and sheet, trapped air, mass, formation, flutter, drift and air make its spread; bypass and noise limit
what can be read.
"""

from __future__ import annotations

from collections.abc import Sequence

from sheetmargin_service.acoustics.contour import Contour
from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Asked, Bench, Detail, Fact
from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicBench
from sheetmargin_service.principles.ultrasonic.pair import contour_of
from sheetmargin_service.principles.ultrasonic.pair_group import Look, fleet_under
from sheetmargin_service.principles.ultrasonic.spreads import GRID


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
        """Classes with one path of integration share a fleet."""
        by_path: dict[Contour, list[tuple[int, DetectorClass, UltrasonicParameters]]] = {}
        for number, c in enumerate(detector_classes):
            assert isinstance(c.parameters, UltrasonicParameters)
            by_path.setdefault(contour_of(c.parameters), []).append((number, c, c.parameters))
        made: dict[int, Bench | Fact] = {}
        for members in by_path.values():
            fleet, looks = fleet_under(tuple(p for _, _, p in members), conditions), dict[int, Look]()
            for place, (number, c, _) in enumerate(members):
                made[number] = UltrasonicBench(detector_class=c, fleet=fleet, place=place, looks=looks)
        return [made[number] for number in range(len(detector_classes))]

    def details(self, asked: Sequence[Asked]) -> list[Detail]:
        by_fleet: dict[int, list[int]] = {}
        own = [(bench, sheet, setting) for bench, sheet, setting in asked if isinstance(bench, UltrasonicBench)]
        for number, (bench, _, _) in enumerate(own):
            by_fleet.setdefault(id(bench.fleet), []).append(number)
        found: dict[int, Detail] = {}
        for numbers in by_fleet.values():
            some = [own[number] for number in numbers]
            details = some[0][0].fleet.details([(b.look(sheet), b.place_of(setting)) for b, sheet, setting in some])
            found.update(zip(numbers, details, strict=True))
        return [found[number] for number in range(len(own))]


PRINCIPLE = Ultrasonic()
