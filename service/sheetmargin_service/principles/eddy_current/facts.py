"""What decides an eddy-current reading on either kind of class, as codes with numbers."""

from __future__ import annotations

from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.principles.eddy_current.parameters import EddyCurrentParameters
from sheetmargin_service.principles.eddy_current.sheet import skin_depth_m
from sheetmargin_service.principles.eddy_current.stack import conductors
from sheetmargin_service.principles.protocol import Fact


def skin_depth_fact(sheet: Sheet, frequency_hz: float) -> Fact:
    """Skin depth and thickness of the layer that shields most."""
    layer = max(conductors(sheet), key=lambda c: c.thickness_um / _resistivity(c))
    electrical = layer.material.electrical if layer.material else None
    assert electrical is not None
    depth = skin_depth_m(
        resistivity_ohm_m=_resistivity(layer),
        relative_permeability=electrical.relative_permeability,
        frequency_hz=frequency_hz,
    )
    return Fact(
        code="skin-depth",
        values={
            "frequency_khz": frequency_hz / 1e3,
            "skin_depth_um": float(f"{depth * 1e6:.3g}"),
            "conductor_um": float(f"{layer.thickness_um:.4g}"),
        },
        source=electrical.source,
    )


def taught_facts(parameters: EddyCurrentParameters) -> tuple[Fact, ...]:
    """That the class needs one sheet of each job to be set, if it does."""
    return (Fact(code="taught-on-sheet", values={}),) if parameters.taught_on_sheet else ()


def _resistivity(layer: SheetLayer) -> float:
    value = layer.material.electrical.resistivity_ohm_m if layer.material else None
    assert value is not None
    return value
