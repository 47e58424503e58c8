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
from sheetmargin_service.principles.protocol import Asked, ClassModel, Fact, SignalDistribution
from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicModel
from sheetmargin_service.principles.ultrasonic.pair import contour_of
from sheetmargin_service.principles.ultrasonic.pair_group import SheetLevels, pair_group_under
from sheetmargin_service.principles.ultrasonic.spreads import GRID


class Ultrasonic:
    """The principle: every class of it works in the same way."""

    id = "ultrasonic"
    quantity = "attenuation"
    unit = "dB"
    depends_on: tuple[str, ...] = ()
    band_step = 1
    grid = GRID

    def class_model(self, detector_class: DetectorClass, conditions: Conditions) -> ClassModel | Fact:
        return self.class_models([detector_class], conditions)[0]

    def class_models(
        self, detector_classes: Sequence[DetectorClass], conditions: Conditions
    ) -> list[ClassModel | Fact]:
        """Classes with one path of integration share a group of pairs."""
        by_path: dict[Contour, list[tuple[int, DetectorClass, UltrasonicParameters]]] = {}
        for number, c in enumerate(detector_classes):
            assert isinstance(c.parameters, UltrasonicParameters)
            by_path.setdefault(contour_of(c.parameters), []).append((number, c, c.parameters))
        made: dict[int, ClassModel | Fact] = {}
        for members in by_path.values():
            pair_group, known = (
                pair_group_under(tuple(p for _, _, p in members), conditions),
                dict[int, SheetLevels](),
            )
            for index, (number, c, _) in enumerate(members):
                made[number] = UltrasonicModel(detector_class=c, pair_group=pair_group, index=index, known=known)
        return [made[number] for number in range(len(detector_classes))]

    def distributions(self, asked: Sequence[Asked]) -> list[SignalDistribution]:
        by_group: dict[int, list[int]] = {}
        own = [
            (class_model, sheet, setting)
            for class_model, sheet, setting in asked
            if isinstance(class_model, UltrasonicModel)
        ]
        for number, (class_model, _, _) in enumerate(own):
            by_group.setdefault(id(class_model.pair_group), []).append(number)
        found: dict[int, SignalDistribution] = {}
        for numbers in by_group.values():
            some = [own[number] for number in numbers]
            distributions = some[0][0].pair_group.distributions(
                [(b.levels_of(sheet), b.setting_of(setting)) for b, sheet, setting in some]
            )
            found.update(zip(numbers, distributions, strict=True))
        return [found[number] for number in range(len(own))]


PRINCIPLE = Ultrasonic()
