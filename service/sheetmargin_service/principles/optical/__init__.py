"""Infrared light through the sheet, weakened from the open path."""

from __future__ import annotations

from sheetmargin.contract.answer import Light

from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.gap_limits import gaps, gaps_on_line
from sheetmargin_service.principles.optical.model import GRID, LEAST_SIDE_MM, OpticalModel
from sheetmargin_service.principles.optical.parameters import OpticalParameters
from sheetmargin_service.principles.protocol import ClassModel, Fact, Places, Principle


class Optical(Principle[OpticalParameters]):
    """The principle: every class of it works in the same way."""

    id = "optical"
    parameters = OpticalParameters
    quantity = "attenuation"
    unit = "dB"
    grid = GRID
    demands = Demands(effort=2, stays_clean=False, moved_by=("print", "dust"))

    def gap_limits_mm(self, parameters: OpticalParameters) -> tuple[float, float]:
        return parameters.gap_min_mm, parameters.gap_max_mm

    def head(self, parameters: OpticalParameters) -> Light:
        return Light(wavelength_nm=parameters.wavelength_nm, spot_diameter_mm=parameters.spot_diameter_mm)

    def reach_mm(self, parameters: OpticalParameters, *, gap_mm: float) -> float:
        """Half the spot's width."""
        return 0.5 * parameters.spot_diameter_mm

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        p = self.parameters_of(detector_class)
        gap_mm = gaps(self.gap_limits_mm(p), at)
        keep = gaps_on_line(gap_mm, conditions, housing=detector_class.housing, least_side_mm=LEAST_SIDE_MM)
        if isinstance(keep, Fact):
            return keep
        return OpticalModel(detector_class=detector_class, parameters=p, conditions=conditions, gap_mm=gap_mm[keep])


PRINCIPLE = Optical()
