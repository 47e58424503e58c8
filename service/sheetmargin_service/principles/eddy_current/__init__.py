"""Eddy currents in a conducting sheet between two coils, which weaken the field from the open path."""

from __future__ import annotations

from sheetmargin.contract.answer import Coil

from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.eddy_current.model import GRID, LEAST_SIDE_MM, EddyCurrentModel
from sheetmargin_service.principles.eddy_current.parameters import EddyCurrentParameters
from sheetmargin_service.principles.gap_limits import gaps, gaps_on_line
from sheetmargin_service.principles.protocol import ClassModel, Fact, Places, Principle


class EddyCurrent(Principle[EddyCurrentParameters]):
    """The principle with a coil on either side: every class of it works in the same way."""

    id = "eddy-current"
    parameters = EddyCurrentParameters
    quantity = "attenuation"
    unit = "dB"
    grid = GRID
    demands = Demands(effort=2)

    def gap_limits_mm(self, parameters: EddyCurrentParameters) -> tuple[float, float]:
        return parameters.gap_min_mm, parameters.gap_max_mm

    def frequency_hz(self, parameters: EddyCurrentParameters) -> float:
        return parameters.frequency_hz

    def head(self, parameters: EddyCurrentParameters) -> Coil:
        return Coil(
            inner_radius_mm=parameters.coil_inner_radius_mm,
            outer_radius_mm=parameters.coil_outer_radius_mm,
            length_mm=parameters.coil_length_mm,
            recess_mm=parameters.recess_mm,
        )

    def reach_mm(self, parameters: EddyCurrentParameters, *, gap_mm: float) -> float:
        """The currents in the sheet spread about the coil as far again as it is from the sheet (a choice)."""
        return parameters.coil_outer_radius_mm + 0.5 * gap_mm

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        p = self.parameters_of(detector_class)
        gap_mm = gaps(self.gap_limits_mm(p), at)
        keep = gaps_on_line(gap_mm, conditions, housing=detector_class.housing, least_side_mm=LEAST_SIDE_MM)
        if isinstance(keep, Fact):
            return keep
        return EddyCurrentModel(
            detector_class=detector_class,
            parameters=p,
            conditions=conditions,
            offered_mm=tuple(gap_mm.tolist()),
            keep=keep,
        )


PRINCIPLE = EddyCurrent()
