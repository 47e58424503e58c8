"""What a dielectric sheet adds to the capacitance of two parallel electrodes."""

from __future__ import annotations

from sheetmargin.contract.answer import Electrode

from sheetmargin_service.detectors.demands import Demands
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.principles.capacitive.model import GRID, CapacitiveModel
from sheetmargin_service.principles.capacitive.parameters import CapacitiveParameters
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.gap_limits import gaps, gaps_on_line
from sheetmargin_service.principles.protocol import ClassModel, Fact, Places, Principle


class Capacitive(Principle[CapacitiveParameters]):
    """The principle: every class of it works in the same way."""

    id = "capacitive"
    parameters = CapacitiveParameters
    quantity = "capacitance"
    unit = "fF"
    grid = GRID
    demands = Demands(effort=3, gap_set_by="gauge", stays_clean=False, moved_by=("moisture", "dust", "temperature"))

    def gap_limits_mm(self, parameters: CapacitiveParameters) -> tuple[float, float]:
        return parameters.gap_min_mm, parameters.gap_max_mm

    def frequency_hz(self, parameters: CapacitiveParameters) -> float:
        return parameters.frequency_hz

    def head(self, parameters: CapacitiveParameters) -> Electrode:
        return Electrode(width_mm=parameters.electrode_width_mm, length_mm=parameters.electrode_length_mm)

    def reach_mm(self, parameters: CapacitiveParameters, *, gap_mm: float) -> float:
        """The guard keeps the field of the electrode within it."""
        return 0.5 * parameters.electrode_width_mm

    def class_model(
        self, detector_class: DetectorClass, conditions: Conditions, *, at: Places | None = None
    ) -> ClassModel | Fact:
        p = self.parameters_of(detector_class)
        gap_mm = gaps(self.gap_limits_mm(p), at)
        keep = gaps_on_line(gap_mm, conditions, housing=detector_class.housing, least_side_mm=0.0)
        if isinstance(keep, Fact):
            return keep
        return CapacitiveModel(detector_class=detector_class, parameters=p, conditions=conditions, gap_mm=gap_mm[keep])


PRINCIPLE = Capacitive()
