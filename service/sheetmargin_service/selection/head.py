"""What a head senses with, in the terms of its principle."""

from __future__ import annotations

from sheetmargin.contract.answer import Coil, Electrode, Head, Laser, Light, Roller, Sound

from sheetmargin_service.detectors.model import (
    CapacitiveParameters,
    DetectorClass,
    EddyCurrentParameters,
    OpticalParameters,
    ThicknessParameters,
    UltrasonicParameters,
)


def head_of(detector_class: DetectorClass) -> Head | None:
    """The head of the class's principle; None where none is described."""
    match detector_class.parameters:
        case UltrasonicParameters() as p:
            return Sound(face_radius_mm=p.face_radius_mm, drive=p.drive)
        case EddyCurrentParameters() as p:
            return Coil(
                inner_radius_mm=p.coil_inner_radius_mm,
                outer_radius_mm=p.coil_outer_radius_mm,
                length_mm=p.coil_length_mm,
                recess_mm=p.recess_mm,
            )
        case CapacitiveParameters() as p:
            return Electrode(width_mm=p.electrode_width_mm, length_mm=p.electrode_length_mm)
        case OpticalParameters() as p:
            return Light(wavelength_nm=p.wavelength_nm, spot_diameter_mm=p.spot_diameter_mm)
        case ThicknessParameters() as p if p.contact == "roller":
            return Roller(force_n=p.force_n, width_mm=p.contact_width_mm, length_mm=p.contact_length_mm)
        case ThicknessParameters() as p:
            return Laser(spot_diameter_mm=p.spot_diameter_mm, stand_off_mm=p.stand_off_mm)
        case _:
            return None
