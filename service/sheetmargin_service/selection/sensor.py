"""What a pair senses with, in the terms of its principle."""

from __future__ import annotations

from sheetmargin.contract.answer import Coil, Electrode, Laser, Light, Roller, Sensor, Sound

from sheetmargin_service.detectors.model import (
    CaliperParameters,
    CapacitiveParameters,
    DetectorClass,
    EddyCurrentParameters,
    OpticalParameters,
    UltrasonicParameters,
)


def sensor_of(detector_class: DetectorClass) -> Sensor:
    """The one part that belongs to the class's principle; the others are None."""
    match detector_class.parameters:
        case UltrasonicParameters() as p:
            return Sensor(sound=Sound(face_radius_mm=p.face_radius_mm, drive=p.drive))
        case EddyCurrentParameters() as p:
            return Sensor(
                coil=Coil(
                    inner_radius_mm=p.coil_inner_radius_mm,
                    outer_radius_mm=p.coil_outer_radius_mm,
                    length_mm=p.coil_length_mm,
                    recess_mm=p.recess_mm,
                )
            )
        case CapacitiveParameters() as p:
            return Sensor(electrode=Electrode(width_mm=p.electrode_width_mm, length_mm=p.electrode_length_mm))
        case OpticalParameters() as p:
            return Sensor(light=Light(wavelength_nm=p.wavelength_nm, spot_diameter_mm=p.spot_diameter_mm))
        case CaliperParameters() as p:
            if p.contact == "roller":
                return Sensor(
                    roller=Roller(force_n=p.force_n, width_mm=p.contact_width_mm, length_mm=p.contact_length_mm)
                )
            return Sensor(laser=Laser(spot_diameter_mm=p.spot_diameter_mm, stand_off_mm=p.stand_off_mm))
        case _:
            return Sensor()
