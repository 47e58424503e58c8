"""The thickness of what runs between two rollers or two laser spots."""

from __future__ import annotations

import numpy as np
from sheetmargin.contract.answer import Laser, Roller

from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass, Housing
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.gap_limits import distances_on_one_side, room_on_both_sides
from sheetmargin_service.principles.protocol import ClassModel, Fact, Places, Principle, Scalar
from sheetmargin_service.principles.thickness.model import GRID, ThicknessModel
from sheetmargin_service.principles.thickness.parameters import ThicknessParameters


class Thickness(Principle[ThicknessParameters]):
    """The principle: every class of it works in the same way, and has no gap to choose."""

    id = "thickness"
    parameters = ThicknessParameters
    quantity = "thickness"
    unit = "um"
    grid = GRID
    demands = Demands(
        effort=3,
        marks=True,
        bed_needed=True,
        moving_parts=True,
        gap_set_by="contact",
        stays_clean=False,
        moved_by=("dust",),
    )

    def gap_limits_mm(self, parameters: ThicknessParameters) -> tuple[float, float]:
        return 2.0 * parameters.stand_off_mm, 2.0 * parameters.stand_off_mm

    def head(self, parameters: ThicknessParameters) -> Roller | Laser:
        p = parameters
        if p.contact == "roller":
            return Roller(force_n=p.force_n, width_mm=p.contact_width_mm, length_mm=p.contact_length_mm)
        return Laser(spot_diameter_mm=p.spot_diameter_mm, stand_off_mm=p.stand_off_mm)

    def detector_kind(self, parameters: ThicknessParameters) -> str:
        return f"{self.id}-{parameters.contact}"

    def reach_mm(self, parameters: ThicknessParameters, *, gap_mm: float) -> float:
        """Half the roller's or the laser spot's width."""
        return 0.5 * (parameters.contact_width_mm or parameters.spot_diameter_mm or 0.0)

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        p, housing = self.parameters_of(detector_class), detector_class.housing
        if p.contact == "roller":
            missing = _nothing_below(p, conditions) or _no_room_above(housing, conditions)
        else:
            missing = room_on_both_sides(p.stand_off_mm, conditions, housing=housing)
        return missing or ThicknessModel(detector_class=detector_class, parameters=p, conditions=conditions)


def _nothing_below(parameters: ThicknessParameters, conditions: Conditions) -> Fact | None:
    """Why a roller has nothing to run on, or None. Where the job does not tell, there must be room for something."""
    if conditions.bed:
        return None
    if conditions.bed is False:
        return Fact(code="nothing-to-run-on", values={})
    needed, available = parameters.support_mm or 0.0, conditions.clearance_below_mm
    if available is None or needed <= available:
        return None
    values: dict[str, Scalar] = {"needed_mm": needed, "available_mm": available}
    return Fact(code="no-room-for-support", values=values)


def _no_room_above(housing: Housing, conditions: Conditions) -> Fact | None:
    found = distances_on_one_side(np.zeros(1), conditions, housing=housing, sides=("above",))
    return found if isinstance(found, Fact) else None


PRINCIPLE = Thickness()
