"""Sound through the sheet: attenuation from the open path, in dB.

The level of one sheet and of two comes from the plane-wave response of the sheet through the finite beam; bounces
between faces and sheet, trapped air, mass, formation, flutter, drift and air make its spread; bypass and noise limit
what can be read.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.answer import Sound

from sheetmargin_service.acoustics.air import Air, absorption_db_per_m
from sheetmargin_service.acoustics.contour import Contour
from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.protocol import Asked, ClassModel, Fact, Places, Principle, SignalDistribution
from sheetmargin_service.principles.sound_beam import SoundBeam
from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicModel, class_model_of
from sheetmargin_service.principles.ultrasonic.pair import class_at, contour_of
from sheetmargin_service.principles.ultrasonic.pair_group import SheetLevels, pair_group_under
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.principles.ultrasonic.positions import standing_wave_db
from sheetmargin_service.principles.ultrasonic.spreads import GRID
from sheetmargin_service.principles.ultrasonic.tilts import greatest_tilt_deg, with_neighbours


class Ultrasonic(Principle[UltrasonicParameters]):
    """The principle: every class of it works in the same way."""

    id = "ultrasonic"
    parameters = UltrasonicParameters
    quantity = "attenuation"
    unit = "dB"
    grid = GRID
    demands = Demands(effort=2, moved_by=("oil",))

    def gap_limits_mm(self, parameters: UltrasonicParameters) -> tuple[float, float]:
        return parameters.gap_min_mm, parameters.gap_max_mm

    def greatest_tilt_deg(self, parameters: UltrasonicParameters) -> float:
        return greatest_tilt_deg(frequency_hz=parameters.frequency_hz, face_radius_mm=parameters.face_radius_mm)

    def frequency_hz(self, parameters: UltrasonicParameters) -> float:
        return parameters.frequency_hz

    def head(self, parameters: UltrasonicParameters) -> Sound:
        return Sound(face_radius_mm=parameters.face_radius_mm, drive=parameters.drive)

    def sound_beam(self, parameters: UltrasonicParameters, air: Air) -> SoundBeam:
        p = parameters
        return SoundBeam(
            wavenumber_per_m=2.0 * np.pi * p.frequency_hz / air.sound_speed_m_per_s,
            face_radius_mm=p.face_radius_mm,
            absorption_db_per_m=float(absorption_db_per_m(frequency_hz=p.frequency_hz, air=air)),
            bypass_db=p.bypass_db,
        )

    def echo_mm(self, parameters: UltrasonicParameters, air: Air) -> float:
        return 0.5e-3 * (parameters.gate_us or 0.0) * air.sound_speed_m_per_s

    def moved_by_position(
        self,
        parameters: UltrasonicParameters,
        conditions: Conditions,
        *,
        places: Places,
        position_mm: NDArray[np.float64],
        level: float,
    ) -> NDArray[np.float64]:
        return standing_wave_db(
            parameters,
            conditions.mean_air(),
            gap_mm=places.gap_mm[0],
            tilt_deg=places.tilt_deg[0],
            position_mm=position_mm,
            attenuation_db=level,
        )

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        if at is None:
            return self.class_models([detector_class], conditions)[0]
        p = self.parameters_of(detector_class)
        # How a level runs over the angle is told by neighbours, which are there for that alone.
        tilts, asked = with_neighbours(at.tilt_deg, greatest_deg=self.greatest_tilt_deg(p))
        pair = class_at(p, conditions.mean_air(), gap_mm=at.gap_mm, tilt_deg=tilts)
        wanted = (len(tilts) * np.arange(len(at.gap_mm))[:, None] + asked).ravel()
        return class_model_of(detector_class, pair, conditions, keep=wanted)

    def class_models(
        self, detector_classes: Sequence[DetectorClass], conditions: Conditions
    ) -> list[ClassModel | Fact]:
        """Classes with one path of integration share a group of pairs."""
        by_path: dict[Contour, list[tuple[int, DetectorClass, UltrasonicParameters]]] = {}
        for number, c in enumerate(detector_classes):
            p = self.parameters_of(c)
            by_path.setdefault(contour_of(p), []).append((number, c, p))
        made: dict[int, ClassModel | Fact] = {}
        for members in by_path.values():
            pair_group, known = (
                pair_group_under(tuple(p for _, _, p in members), conditions),
                dict[Sheet, SheetLevels](),
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
            first = some[0][0]
            first.forget_waves_but([sheet for _, sheet, _ in some])
            distributions = first.pair_group.distributions(
                [(b.levels_of(sheet), b.setting_of(setting)) for b, sheet, setting in some]
            )
            found.update(zip(numbers, distributions, strict=True))
        return [found[number] for number in range(len(own))]


PRINCIPLE = Ultrasonic()
