"""How well the two faces must be aligned, and how to do it."""

from __future__ import annotations

from math import degrees

from sheetmargin.contract.mounting import Alignment
from sheetmargin.contract.notes import Note

from sheetmargin_service.acoustics.beam import alignment_limits
from sheetmargin_service.principles.sound_beam import SoundBeam


def align(*, gap_mm: float, tilt_deg: float, beam: SoundBeam) -> Alignment:
    """Offset and angle of one face that cost 1 dB and 3 dB of the open path by the beam's integral, and the procedure.

    The procedure finds the middle between two settings that read equally: at the top the signal hardly changes, while
    where it has fallen by 3 dB it changes most, and the middle is found to a fraction of the offset for 1 dB.
    """
    limits = alignment_limits(
        wavenumber_per_m=beam.wavenumber_per_m, radius_m=1e-3 * beam.face_radius_mm, gap_m=1e-3 * gap_mm
    )
    lateral_1db, lateral_3db = 1e3 * limits.offset_m_1db, 1e3 * limits.offset_m_3db
    angle_1db, angle_3db = degrees(limits.angle_rad_1db), degrees(limits.angle_rad_3db)
    return Alignment(
        lateral_mm_1db=lateral_1db,
        lateral_mm_3db=lateral_3db,
        angle_deg_1db=angle_1db,
        angle_deg_3db=angle_3db,
        steps=(
            Note(code="align-locked-out", values={}),
            Note(code="align-set", values={"gap_mm": gap_mm, "tilt_deg": tilt_deg}),
            Note(code="align-by-eye", values={"lateral_mm": lateral_3db, "angle_deg": angle_3db}),
            Note(code="align-sideways", values={"fall_db": 3.0, "lateral_mm": lateral_3db}),
            Note(code="align-turn", values={"fall_db": 3.0, "angle_deg": angle_3db}),
            Note(code="align-lock", values={"fall_db": 1.0, "lateral_mm": lateral_1db, "angle_deg": angle_1db}),
            Note(code="align-teach", values={}),
        ),
    )
