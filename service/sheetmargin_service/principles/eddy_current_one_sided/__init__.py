"""Eddy currents in a conducting sheet before two coils wound together, which change their coupling."""

from __future__ import annotations

from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.eddy_current import EddyCurrent
from sheetmargin_service.principles.eddy_current_one_sided.model import GRID, OneSidedModel
from sheetmargin_service.principles.gap_limits import distances_on_one_side, gaps
from sheetmargin_service.principles.protocol import ClassModel, Fact, Places


class OneSidedEddyCurrent(EddyCurrent):
    """The principle with both coils on one side: every class of it works in the same way. Its gap is from face to
    sheet."""

    id = "eddy-current-one-sided"
    quantity = "coupling-change"
    unit = "%"
    grid = GRID
    demands = Demands(effort=2, access="one-side", gap_set_by="contact")

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        p = self.parameters_of(detector_class)
        gap_mm = gaps(self.gap_limits_mm(p), at)
        keep = distances_on_one_side(gap_mm, conditions, housing=detector_class.housing)
        if isinstance(keep, Fact):
            return keep
        return OneSidedModel(
            detector_class=detector_class,
            parameters=p,
            conditions=conditions,
            offered_mm=tuple(gap_mm.tolist()),
            keep=keep,
        )


PRINCIPLE = OneSidedEddyCurrent()
